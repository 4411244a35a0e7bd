"""One thing that a reader found in a paste, and the lines that say it."""

from __future__ import annotations

from typing import Any

from msgspec import Struct

# Kind → what the value is.  `dict` values hold fields of the record that is named.
KINDS: dict[str, str] = {
    "device": "fields of UsbDevice; interfaces as a list of fields of UsbInterface, which all_interfaces says are all",
    "whole": "name of the evidence field that these lines list completely; what stands before and is not in it is gone",
    "event": "clock of its excerpt (uptime, uptime-1 of a boot before, date, day, null), Event with `at` on that clock",
    "log": "a clock of the kernel log: clock, last (newest time on it), from_boot",
    "tty": "fields of Tty",
    "link": "Link",
    "usb_node": "Node of /dev/bus/usb",
    "user": "an account: name, uid, groups by name and by number",
    "handle": "fields of Handle",
    "service": "Service",
    "module": "fields of Module",
    "qemu": "QemuProcess",
    "domain": "Domain",
    "given": "GivenVm",
    "vm_message": "VmMessage",
    "controller": "fields of Controller",
    "host": "fields of Host, and module_files",
    "app": "AppMessage",
    "air": "AirReading",
    "udev_rule": "UdevRule",
    "worked": "a program that has its device: family, program, path",
    "wifi": "a network: ssid, channel, width_mhz, level_dbm",
    "command-error": "a program that could not say anything: command, kind, text",
}


class Piece(Struct, frozen=True):
    """A fact, and the numbers of the lines that it was read from."""

    kind: str
    lines: tuple[int, ...]
    value: Any
