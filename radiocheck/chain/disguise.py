"""Devices that say they are something else: modems that play a drive with programs, and bridges whose ID was erased.

Only a paste is asked: who pastes such a device wants a port of it.  On a live machine a
drive is a drive.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event, Evidence
from radiocheck.evidence.usb import UsbDevice

from .adapters import is_hub
from .held import device_ttys

ERASED = ("0403", "0000")  # drivers/usb/serial/ftdi_sio_ids.h, FTDI_BRICK_PID
_STORAGE = 0x08  # USB-IF, "USB Class Codes"
# As usb.ids calls such an identity
_MODE = re.compile(
    r"\b(?:mass[ -]?)?storage mode\b|\bzero ?cd\b|\bcd-?rom mode\b|\bdriver (?:cd|disc)\b", re.IGNORECASE
)
# What drives for real discs call themselves; the disc of programs that a modem plays is none of these.
_REAL = re.compile(r"DVD|\bBD-?R|CD-?RW|BDDVD|\bRW\b", re.IGNORECASE)


def id_erased(device: UsbDevice) -> bool:
    """Whether another system's driver has set its product ID to 0, and no tty of it was seen."""
    return (device.vid, device.pid) == ERASED and not device_ttys(device)


def shown_as_drive(evidence: Evidence, device: UsbDevice) -> str | None:
    """What shows that it is in that state: its name, or the kernel's words about a CD drive in it; None: nothing."""
    if is_hub(device) or device_ttys(device):
        return None
    if known(device.interfaces) and any(known(one.class_) and one.class_ != _STORAGE for one in device.interfaces):
        return None
    for text in (device.called, device.product):
        if isinstance(text, str) and _MODE.search(text):
            return text
    return _drive(evidence.kernel_log.events if known(evidence.kernel_log) else [], device.name)


def _drive(events: Sequence[Event], name: str) -> str | None:
    """The line about a CD drive in a storage device as it is now; the SCSI host that both name ties them.

    Lines that name no host count when the log has one storage device only.  A drive that calls
    itself one for DVDs, or a writer, is one.
    """
    alone = len({event.device for event in events if event.kind == "storage"}) == 1
    stored, said = False, None
    latest: str | None = None  # where something came up last; old kernels do not say whose SCSI host it is
    hosts: set[str] = set()
    real = {_host(event) for event in events if event.kind == "cd-drive" and _REAL.search(event.text)}
    for event in events:
        latest = event.device if event.kind == "new-device" else latest
        if event.device == name and event.kind in ("disconnect", "new-device", "attached", "acm"):
            stored, said, hosts = False, None, set()
        elif event.kind == "storage" and (event.device or latest) == name:
            stored = True
            hosts |= {event.data["host"]} if "host" in event.data else set()
        elif event.kind == "cd-drive" and stored and (alone if not hosts else _host(event) in hosts):
            said = None if _host(event) in real else event.text
    return said


def _host(event: Event) -> str:
    """The number of its SCSI host: of the data, else of the device's name (`7:0:0:0`)."""
    return event.data.get("host") or (event.controller or "").partition(":")[0]
