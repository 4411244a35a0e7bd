"""Facts about the names of the adapter's tty."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known

from .bound import certain
from .context import TTY_MAJORS, Context
from .held import all_ttys, device_ttys
from .own_rules import rule_facts
from .subjects import Subject
from .view import NameFacts


def name_facts(context: Context, subject: Subject) -> NameFacts:
    """The names of its tty."""
    device = subject.device
    names = device_ttys(device) if device is not None else []
    if not names:
        none = UNSET if device is not None and not all_ttys(device, context.evidence) else None
        return NameFacts(tty=none, held_number=_held_number(context, names), **rule_facts(context, None))
    tty = names[0]
    links = context.evidence.links
    facts: dict[str, Any] = {}
    if known(links):
        # A name that udev notes and that is not on disk (a container, say) is no name.
        real = [link for link in links if link.target is not None]
        mine = [link for link in real if link.target == tty or (known(link.claimants) and tty in link.claimants)]
        by_id = next((link for link in mine if "/by-id/" in link.path), None)
        by_path = next((link for link in mine if "/by-path/" in link.path), None)
        whole = context.whole("links")
        facts = {
            "by_id": by_id.path if by_id else None if whole else UNSET,
            "by_path": by_path.path if by_path else None if whole else UNSET,
            "shared_with": [] if by_id is None and whole else UNSET,
            "points_here": certain(False, whole and by_id is None),
        }
        if by_id is not None and known(by_id.target):
            facts["points_here"] = by_id.target == tty
        if by_id is not None and known(by_id.claimants):
            facts["shared_with"] = [one for one in by_id.claimants if one != tty]
    fell_back: bool | UnsetType = UNSET
    if known(context.events) and device is not None:
        log, all_told = context.log_since_arrival(device.name)
        unreadable = certain(any(one.kind == "strings-unreadable" for one in log), all_told)
        fell_back = unreadable and device.product is None if known(device.product) else UNSET
    return NameFacts(
        tty=tty, fell_back=fell_back, held_number=_held_number(context, names), **facts, **rule_facts(context, device)
    )


def _held_number(context: Context, names: Sequence[str]) -> str | UnsetType | None:
    """A vanished tty that a process still holds: its number is not free, so the adapter came back under another.

    Only a lower number of the adapter's own kind can have pushed it up (usb-serial.c, cdc-acm.c: lowest free minor).
    """
    if not known(context.evidence.handles):
        return UNSET
    own = [_kind_and_number(name) for name in names]
    for handle in context.evidence.handles.open:
        kind, number = _kind_and_number(handle.path)
        gone = handle.major in TTY_MAJORS and handle.deleted
        if gone and any(kind == mine and number < other for mine, other in own):
            return f"{handle.path} (held by {handle.command}, process {handle.pid})"
    return None if context.all_handles_seen() else UNSET


def _kind_and_number(name: str) -> tuple[str, int]:
    """ "/dev/ttyUSB1" → ("ttyUSB", 1)."""
    match = re.fullmatch(r"(?:.*/)?([A-Za-z]+)(\d{1,6})", name)
    return (match[1], int(match[2])) if match else (name, -1)
