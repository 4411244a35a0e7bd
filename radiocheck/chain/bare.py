"""Controllers that are to go to a VM, and on which the host sees no adapter."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, whole
from radiocheck.evidence.usb import UsbDevice

from .held import is_held
from .item import Item


def is_bare(item: Item, evidence: Evidence, free: Sequence[UsbDevice]) -> bool:
    """Whether a line for a controller is none of our business, while adapters are on others.

    `free` are those that no VM asks for.  The VM is off and the host sees that no adapter is
    on the controller: the VM is given it for something else, unless the one free adapter is
    used by nobody here.  Then it may be what the line is about.
    """
    controllers = evidence.controllers if known(evidence.controllers) else []
    mine = next((one for one in controllers if one.address == item.controller), None)
    if item.kind != "controller" or item.running is not False or mine is None:
        return False
    if not isinstance(mine.driver, str) or mine.vfio is not False or not whole(evidence, "usb"):
        return False
    seen = known(evidence.handles) and evidence.handles.unread == 0 and whole(evidence, "handles")
    return not (seen and len(free) == 1 and not is_held(evidence, free[0]))
