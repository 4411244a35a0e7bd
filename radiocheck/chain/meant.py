"""Which device a line of a VM's configuration means, where it picks out another one or none."""

from __future__ import annotations

import re
from collections.abc import Sequence

from msgspec import UNSET

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, whole
from radiocheck.evidence.usb import UsbDevice

from .held import device_ttys
from .history import Stay
from .item import Item
from .pasted import is_paste


def lacks_driver(device: UsbDevice, evidence: Evidence) -> bool:
    """Whether it has no tty for want of a driver: no interface has one, or a module was looked for in vain."""
    parts = device.interfaces if known(device.interfaces) else []
    if device_ttys(device) or any(known(part.driver) and part.driver for part in parts):
        return False
    lost = known(evidence.modules) and any(one.available is False for one in evidence.modules)
    return lost or (bool(parts) and all(part.driver is None for part in parts))


# As usb.ids calls what is built into a machine, and what nobody hands to a VM.  Cards with a chip are another matter.
_BUILT_IN = re.compile(
    r"\bcard ?reader\b|\bfinger ?print\b|\btouch ?(?:pad|screen)\b|\bintegrated (?:web)?cam|\bmulti-?card\b",
    re.IGNORECASE,
)
_OF_CHIPS = re.compile(r"smart ?card|\bccid\b|\bnfc\b|\brfid\b", re.IGNORECASE)


def is_built_in(words: object) -> bool:
    """Whether a device's words call it something that is built in and that no VM is given."""
    return isinstance(words, str) and _BUILT_IN.search(words) is not None and _OF_CHIPS.search(words) is None


def picks_built_in(item: Item, matched: Sequence[UsbDevice]) -> bool:
    """Whether a number of a line is now that of something that no VM is given: the line meant another device."""
    if item.selector not in ("address", "node") or not matched:
        return False
    return all(is_built_in(one.called) or is_built_in(one.product) for one in matched)


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


def meant_by_number(item: Item, history: Sequence[Stay], devices: Sequence[UsbDevice]) -> UsbDevice | None:
    """The present device that had the pinned number when the line was written, by the log."""
    for stay in reversed(history):
        if stay.bus == item.bus and stay.number == item.address:
            same = [device for device in devices if (device.vid, device.pid, device.serial) == stay.identity]
            if not same:
                same = [one for one in devices if one.name == stay.device and stay.vid in (None, one.vid)]
            return same[0] if len(same) == 1 else None
    return None


def tty_behind(path: str, evidence: Evidence) -> str | None:
    """The tty that a path leads to now; None when it leads nowhere that was seen."""
    if known(evidence.links):
        for link in evidence.links:
            if link.path == path:
                return link.target if isinstance(link.target, str) else None
    name = path.rpartition("/")[2]
    if known(evidence.ttys) and any(tty.name == name for tty in evidence.ttys) and path == f"/dev/{name}":
        return name
    return None


def may_mean_any(item: Item) -> bool:
    """Whether it names a device by nothing but a number, or not at all."""
    return item.kind == "device" and item.vid is None and item.selector in ("address", "node", "nothing")


def is_usb_controller(item: Item, evidence: Evidence) -> bool:
    """A USB controller, or an address where nothing is.  Other functions (a graphics card) are not our business."""
    functions = evidence.pci_functions if whole(evidence, "pci_functions") else UNSET
    gone = known(functions) and item.controller not in functions
    if is_paste(evidence) and not known(evidence.controllers):
        return True  # who pastes a line about a PCI device here pastes it for what hangs on it
    return gone or (known(evidence.controllers) and any(one.address == item.controller for one in evidence.controllers))
