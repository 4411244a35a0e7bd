"""Which module a device without a driver would get, and that a pasted setting keeps it out."""

from __future__ import annotations

from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import Module, UsbDevice

from .adapters import CDC, VENDOR
from .pasted import is_paste

# Class drivers by the class of an interface (USB-IF, "USB Class Codes"; the drivers' id tables).  Not the printers':
# their driver is mostly kept out on purpose, since programs print without it.
_BY_CLASS = {0x01: "snd_usb_audio", CDC: "cdc_acm", 0x08: "usb_storage", 0x0E: "uvcvideo"}
# usb.ids: makers of bridges whose interfaces are of the vendor's class
_BY_MAKER = {"0403": "ftdi_sio", "067b": "pl2303", "10c4": "cp210x", "1a86": "ch341"}


def kept_out(evidence: Evidence, device: UsbDevice) -> Module | None:
    """The module that a device without any driver waits for, if a setting in a paste blocks it.

    None on a live machine, where the modules themselves say which interface is theirs.
    """
    if not is_paste(evidence) or not known(evidence.modules) or not known(device.interfaces):
        return None
    blocked = {one.name: one for one in evidence.modules if isinstance(one.blocked_by, str)}
    if any(one.driver is not None for one in device.interfaces):
        return None
    maker = _BY_MAKER.get(device.vid if known(device.vid) else "")
    for interface in device.interfaces:
        name = (
            maker
            if interface.class_ == VENDOR
            else _BY_CLASS.get(interface.class_)
            if known(interface.class_)
            else None
        )
        if name in blocked:
            found = blocked[name]
            return found if known(found.loaded) else replace(found, loaded=False)  # nothing of it is seen at work
    return None
