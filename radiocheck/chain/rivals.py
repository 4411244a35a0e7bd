"""Lines of other VMs that pick out the same adapter, or may."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from radiocheck.evidence.absent import known

from .context import Context
from .item import Item, matches
from .items_qemu import of_process
from .subjects import Subject


class Rivals(Struct, frozen=True):
    """All lines that compete for one adapter, and the VMs whose lines could not all be read."""

    lines: Sequence[Item]
    hidden: dict[str, set[str]]  # evidence field → VMs

    def of(self, item: Item) -> list[Item]:
        """The lines of other VMs than the item's."""
        return [one for one in self.lines if one.vm != item.vm]

    def unread(self, item: Item) -> tuple[str, ...]:
        """The evidence that could show a further line of another VM."""
        return tuple(field for field, vms in self.hidden.items() if vms - {item.vm})


def rivals(context: Context, subject: Subject) -> Rivals:
    """The lines about one adapter, without those that cannot pick it out."""
    found = [item for position, item in enumerate(subject.items) if _competes(subject, position, item)]
    return Rivals(lines=[*found, *_wild(context)], hidden=_hidden(context))


def _competes(subject: Subject, position: int, item: Item) -> bool:
    if position in subject.guessed or item.selector == "nothing":
        return False
    if item.kind == "device" and item.manager == "qemu" and item.in_next is False:
        return False  # attached by hand in a monitor: only who holds it now shows that, and it passes
    return item.kind != "device" or subject.device is None or matches(item, subject.device) is not False


def _wild(context: Context) -> list[Item]:
    """Lines without a selector of QEMU processes that libvirt does not run: each may take any device."""
    if not known(context.evidence.qemu):
        return []
    named = {one.name for one in context.evidence.domains} if known(context.evidence.domains) else set()
    return [
        item
        for process in context.evidence.qemu
        if process.libvirt is False and process.name not in named and known(process.usb)
        for item in of_process(process)
        if item.selector == "nothing"
    ]


def _hidden(context: Context) -> dict[str, set[str]]:
    domains, processes = context.evidence.domains, context.evidence.qemu
    hidden = {"domains": {""}, "qemu": {""}}  # nothing could be read: any VM may have a line
    if known(domains):
        hidden["domains"] = {one.name for one in domains if not known(one.next) or not known(one.live)}
        hidden["domains"] |= set() if context.whole("domains") else {""}
    if known(processes):
        named = {one.name for one in domains} if known(domains) else set()
        unclear = [one for one in processes if not known(one.usb) or not known(one.libvirt)]
        hidden["qemu"] = {one.name or "" for one in unclear if one.name not in named}
        hidden["qemu"] |= set() if context.whole("qemu") else {""}
    return hidden
