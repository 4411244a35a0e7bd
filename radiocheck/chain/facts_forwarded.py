"""Facts about a host's tty that is given to a VM as its serial port."""

from __future__ import annotations

from typing import Any

from radiocheck.evidence.absent import known

from .context import TTY_MAJORS, Context
from .held import device_ttys
from .item import Item
from .subjects import Subject, tty_behind


def forwarded_facts(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """Which tty a path leads to, and whether the VM has it open."""
    device, path = subject.device, item.tty or ""
    facts: dict[str, Any] = {"tty_stable": path.startswith("/dev/serial/")}
    ttys = device_ttys(device) if device is not None else []
    if known(context.ttys) and known(context.evidence.links):
        behind = tty_behind(path, context.evidence)
        facts["picks_this"] = behind is not None and behind in ttys
        facts["matches"] = 0 if behind is None else 1
        facts["picks_other"] = behind if behind is not None and behind not in ttys else None
    if item.running is False:
        return facts | {"tty_open": False, "holds": False}
    if item.process is None:
        return facts
    handles = context.handles_of(item.process.pid)
    if known(handles) and known(context.ttys):
        nodes = [context.ttys[name].node for name in ttys if name in context.ttys]
        numbers = {(node.major, node.minor) for node in nodes if known(node) and node is not None}
        facts["tty_open"] = any((one.major, one.minor) in numbers and not one.deleted for one in handles)
        facts["dead"] = any(one.major in TTY_MAJORS and one.deleted for one in handles)
    return facts
