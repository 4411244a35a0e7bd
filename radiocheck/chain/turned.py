"""A device that left its port and came back as another: a modem that was switched over, a board in its boot loader.

Only a paste is asked: its log and its configuration are what somebody thought worth
showing.  On a live machine the port's new occupant is told of as such, and nothing is
concluded from it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import takewhile

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice

from .history import Stay, stays
from .item import Item
from .pasted import is_paste

SOON = 60.0  # seconds in which a device comes back by itself; whoever changes a cable mostly takes longer
_BOOT = re.compile(r"\bboot ?loader\b|\bdfu\b|\bboot mode\b", re.IGNORECASE)
_DFU = ("0483", "df11")  # usb.ids: the boot loader in the ROM of STM32 chips, whatever the maker of the board


def turned(evidence: Evidence, item: Item) -> tuple[Stay, UsbDevice] | None:
    """The stay that a line's device ended, and what it is on the same port now; None: nothing of the kind was seen.

    `item`: a line that goes by IDs, which no present device has.
    """
    if not is_paste(evidence) or item.vid is None or item.pid is None or not known(evidence.kernel_log):
        return None
    devices = evidence.usb if known(evidence.usb) else []
    if any((one.vid, one.pid) == (item.vid, item.pid) for one in devices):
        return None
    history = stays(evidence.kernel_log.events)
    for device in devices:
        here = [stay for stay in history if stay.device == device.name]
        as_now = _as_now(here, device)
        if not as_now or as_now[0].gone or len(as_now) == len(here):
            continue
        old, new = here[-len(as_now) - 1], as_now[-1]
        if _was(old, item, new) and _same_thing(old, item, new):
            return old, device
    return None


def _as_now(here: Sequence[Stay], device: UsbDevice) -> list[Stay]:
    """The last stays of a port, newest first, in which its device had the IDs of now; a log may be pasted twice."""
    ids = (device.vid, device.pid)
    return list(takewhile(lambda stay: (stay.vid, stay.pid) == ids, reversed(here)))


def _was(old: Stay, item: Item, new: Stay) -> bool:
    """Whether the first stay is of what the line asks for: by its IDs, else by the number that the VM had."""
    if old.vid is not None:
        return (old.vid, old.pid) == (item.vid, item.pid)
    if known(item.live_address) and item.live_address is not None:
        return (old.bus, old.number) == (item.live_bus, item.live_address)
    return new.vid == item.vid


def _same_thing(old: Stay, item: Item, new: Stay) -> bool:
    """Whether it came back by itself: soon, and of the same maker or as a boot loader."""
    if old.ended is not None and new.began is not None and not 0 <= new.began - old.ended <= SOON:
        return False
    loader = (new.vid, new.pid) == _DFU or (new.product is not None and _BOOT.search(new.product) is not None)
    return new.vid == item.vid or loader
