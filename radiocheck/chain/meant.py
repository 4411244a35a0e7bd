"""Which device a line of a VM's configuration means, where it picks out another one or none."""

from __future__ import annotations

import re

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice

from .held import device_ttys
from .item import Item


def lacks_driver(device: UsbDevice, evidence: Evidence) -> bool:
    """Whether it has no tty for want of a driver: no interface has one, or a module was looked for in vain."""
    parts = device.interfaces if known(device.interfaces) else []
    if device_ttys(device) or any(known(part.driver) and part.driver for part in parts):
        return False
    lost = known(evidence.modules) and any(one.available is False for one in evidence.modules)
    return lost or (bool(parts) and all(part.driver is None for part in parts))


def misread(item: Item, device: UsbDevice) -> bool:
    """Whether a line names a device by its IDs, written without 0x: `0403` is then octal, `6014` decimal.

    QEMU and libvirt read numbers as strtoull(3) with base 0 does (seen with QEMU 7.2).
    """
    if item.kind != "device" or item.selector not in ("ids", "ids-address"):
        return False
    if not isinstance(device.vid, str) or not isinstance(device.pid, str):
        return False
    pairs = ((item.vid, device.vid), (item.pid, device.pid))
    wrong = [asked != has for asked, has in pairs]
    return any(wrong) and all(asked is not None and asked in (has, as_number(has)) for asked, has in pairs)


def as_number(digits: str) -> str | None:
    """What four hexadecimal digits become when they are read as a number in C's notation; None when they are none."""
    if re.fullmatch(r"0[0-7]*", digits):
        return f"{int(digits, 8):04x}"
    return f"{int(digits):04x}" if re.fullmatch(r"[1-9]\d*", digits) else None
