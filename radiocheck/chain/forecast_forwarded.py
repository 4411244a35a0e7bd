"""What the next restart does to a tty of the host that a VM has as its serial port."""

from __future__ import annotations

import re

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import Link

from .adapters import label
from .context import Context
from .expected import Expected, Pair, same, unseen
from .held import device_ttys
from .item import Item
from .meant import tty_behind
from .subjects import Subject

MOVING = re.compile(r"/dev/(tty(?:USB|ACM)(\d{1,6}))")


def pick_forwarded(context: Context, subject: Subject, item: Item) -> Pair:
    """Both restarts, as if the VM is started and no other VM asks for the tty."""
    path, links = item.tty or "", context.evidence.links
    moving = MOVING.fullmatch(path)
    if moving is None and not path.startswith("/dev/serial/"):
        nowhere = unseen(why=f"nothing here shows what {path} leads to")
        return nowhere, nowhere
    at_boot = _numbered(path, int(moving[2])) if moving else None
    hidden = unseen("usb", "ttys", "links")
    listed = all(context.whole(field) for field in ("ttys", "links", "usb"))
    if not listed or not known(links) or not known(context.devices):
        return hidden, at_boot or hidden
    if any(one.path == path and not known(one.target) for one in links):
        return hidden, at_boot or hidden
    name = tty_behind(path, context.evidence)
    owner = next((one for one in context.devices.values() if name in device_ttys(one)), None)
    if name is None:
        base, host = same("refused", f"nothing is called {path} now, and QEMU ends when it cannot open it")
    elif owner is None:
        base = host = unseen("usb")
    elif owner != subject.device:
        base, host = same("does-not-come-back", f"{path} is {name} now, of {label(owner)}")
    elif moving:
        base = host = Expected("comes-back", f"{path} is its name until it is plugged in anew")
    else:
        base = host = _linked(path, links)
    return base, at_boot or host


def _numbered(path: str, number: int) -> Expected:
    """ttyUSB and ttyACM are numbered in the order in which they appear (Linux, usb-serial.c and cdc-acm.c)."""
    why = f"{path} goes by order of appearance"
    if number == 0:
        return Expected("only-if-alone", f"{why}: another serial adapter that appears first takes the name")
    return Expected("by-chance", f"{why}: {number} others must appear before it")


def _linked(path: str, links: list[Link]) -> Expected:
    """A name of udev's; two adapters with the same strings claim the same one (rules.d/60-serial.rules)."""
    link = next((one for one in links if one.path == path), None)
    if link is None or not known(link.claimants):
        return unseen("links")
    if len(link.claimants) > 1:
        return Expected(
            "by-chance", f"{len(link.claimants)} adapters claim the name {path}; udev gives it to one of them"
        )
    if "/by-path/" in path:
        return Expected("comes-back", f"{path} names its socket; it must stay in it")
    return Expected("comes-back", f"{path} goes with the adapter, and no other one here claims it")
