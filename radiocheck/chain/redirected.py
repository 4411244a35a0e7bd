"""Devices that a VM has through a viewer's window (USB redirection of SPICE), and not by its configuration."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event

from .context import Context
from .history import about
from .pasted import is_paste
from .subjects import Subject

_DRIVEN = frozenset({"attached", "acm"})


def redirection_ended(context: Context, subject: Subject) -> str | None:
    """What a paste's VM log says of a viewer that went, when this adapter went back to its driver; null: nothing.

    The channels of a viewer close with it, whether they carried a device or not.  So the host's log must show that a
    program gave the adapter back, and the running VM must have room for a viewer's devices and none of the host's.
    """
    evidence = context.evidence
    if not is_paste(evidence) or subject.device is None or any(item.kind == "device" for item in subject.items):
        return None
    messages = evidence.vm_messages if known(evidence.vm_messages) else []
    told = [one for one in messages if one.kind in ("redirection-begun", "redirection-ended")]
    if not told or told[-1].kind != "redirection-ended" or not _room_for_viewers_only(context):
        return None
    events = context.events if known(context.events) else []
    return told[-1].text if _given_back(about(events, subject.device.name)) else None


def _room_for_viewers_only(context: Context) -> bool:
    domains = context.evidence.domains if known(context.evidence.domains) else []
    running = [one.live for one in domains if known(one.live) and one.live is not None]
    return bool(running) and all(known(one.redirections) and not one.usb for one in running)


def _given_back(events: Sequence[Event]) -> bool:
    """Whether a driver took it after a reset, without an unplug (libusb's attach of the kernel driver)."""
    reset = False
    for event in events:
        if event.kind in ("reset", "new-device"):
            reset = event.kind == "reset"
        elif event.kind in _DRIVEN and reset:
            return True
    return False
