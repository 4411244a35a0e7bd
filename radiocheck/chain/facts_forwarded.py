"""Facts about a host's tty that is given to a VM as its serial port."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET

from radiocheck.evidence.absent import known

from .bound import certain
from .context import TTY_MAJORS, Context
from .held import all_ttys, device_ttys
from .item import Item
from .meant import tty_behind
from .subjects import Subject


def forwarded_facts(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """Which tty a path leads to, and whether the VM has it open."""
    device, path = subject.device, item.tty or ""
    facts: dict[str, Any] = {"tty_stable": path.startswith("/dev/serial/")}
    ttys = device_ttys(device) if device is not None else []
    behind = tty_behind(path, context.evidence)
    if behind is not None:
        told = device is None or all_ttys(device, context.evidence)
        mine = certain(behind in ttys, told)
        facts |= {"picks_this": mine, "matches": 1, "picks_other": None if mine else behind if told else UNSET}
    elif context.whole("ttys") and context.whole("links"):
        facts |= {"picks_this": False, "matches": 0, "picks_other": None}
    if item.running is False:
        return facts | {"tty_open": False, "holds": False}
    if item.process is None:
        return facts
    handles = context.handles_of(item.process.pid)
    if known(handles) and known(context.ttys):
        nodes = [context.ttys[name].node for name in ttys if name in context.ttys]
        numbers = {(node.major, node.minor) for node in nodes if known(node) and node is not None}
        whole = context.whole("handles")
        told = whole and (device is None or all_ttys(device, context.evidence))
        is_open = any((one.major, one.minor) in numbers and not one.deleted for one in handles)
        facts["tty_open"] = certain(is_open, told and (bool(numbers) or context.whole("ttys")))
        facts["dead"] = certain(any(one.major in TTY_MAJORS and one.deleted for one in handles), whole)
    return facts
