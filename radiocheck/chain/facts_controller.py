"""Facts about a whole USB controller that a VM is given."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import Controller

from .bound import certain
from .carried import carried, mounted
from .context import Context
from .elsewhere import elsewhere
from .item import Item
from .items import items
from .pci_words import function_word, is_bridge, is_vital
from .subjects import Subject

# Linux, drivers/pci/quirks.c, quirk_no_flr: AMD Starship and Matisse USB 3.0; in Linux 5.8 and, from memory, in
# stable kernels before it.
RESET_HANGS = frozenset({"1022:148c", "1022:149c"})
RESET_KNOWN = (5, 8)
IOMMUFD = ("/dev/iommu", "/dev/vfio/devices/")


def controller_facts(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """What of the controller is there, who drives it, what hangs on it, and what shares its IOMMU group."""
    controllers = context.evidence.controllers
    mine = next((one for one in controllers if one.address == item.controller), None) if known(controllers) else None
    group = mine.iommu_group if mine is not None else UNSET
    facts: dict[str, Any] = {"controller_managed": item.managed, **_held(context, item, group)}
    if not known(controllers) or (mine is None and not context.whole("controllers")):
        return facts
    facts |= {
        "controller_exists": mine is not None,
        "picks_this": mine is not None,
        "matches": 0 if mine is None else 1,
        **elsewhere(context, subject, item),
    }
    if mine is None:
        return facts
    given = given_to(context, item.vm)
    hosts = known(mine.driver) and mine.driver is not None and mine.vfio is False
    return facts | {
        "controller_driver": mine.driver,
        "controller_override": mine.driver_override,
        "controller_reserved": mine.reserved,
        "controller_vfio": mine.vfio,
        "controller_node": f"pci_{re.sub('[:.]', '_', mine.address)}",
        "controller_bare": hosts and subject.device is None if context.whole("usb") else UNSET,
        "controller_carries": carried(context, mine.address, *([subject.device] if subject.device else [])),
        "controller_mounts": mounted(context, _leaving(mine, given)),
        "reset_hangs": _reset_hangs(context, mine),
        "iommu": UNSET if not known(mine.iommu_group) else mine.iommu_group is not None,
        "group_others": still_driven(mine, given),
        "group_vital": still_driven(mine, set(), is_vital),
        "group_with": _group_with(context, subject, mine, item.vm),
    }


def _held(context: Context, item: Item, group: int | UnsetType | None) -> dict[str, Any]:
    """Whether its process has the group's VFIO node open, or those of iommufd, which carry no group's number."""
    if item.running is False:
        return {"controller_held": False}
    handles = context.handles_of(item.process.pid) if item.process is not None else UNSET
    if not known(handles):
        return {}
    paths = {one.path for one in handles if "/vfio/" in one.path or one.path == "/dev/iommu"}
    if paths and not known(group):
        return {}  # some function's node, and perhaps not this one's
    by_group = {f"/dev/vfio/{group}", f"/dev/vfio/noiommu-{group}"} if group is not None else paths
    held = any(path in by_group or path.startswith(IOMMUFD) for path in paths)
    return {"controller_held": certain(held, context.whole("handles"))}


def _leaving(mine: Controller, given: set[str | None]) -> set[str | None]:
    """The functions of its group that leave the host when the VM starts."""
    members = mine.group if known(mine.group) else []
    return {mine.address, *(member.address for member in members if member.address in given)}


def _reset_hangs(context: Context, mine: Controller) -> bool | UnsetType:
    """A chip that a function level reset hangs, under a kernel that does not know it yet."""
    if not known(mine.vid) or not known(mine.pid):
        return UNSET
    if f"{mine.vid}:{mine.pid}" not in RESET_HANGS:
        return False
    host = context.evidence.host
    match = re.match(r"(\d{1,3})\.(\d{1,4})\b", host.kernel) if known(host) and known(host.kernel) else None
    return UNSET if match is None else (int(match[1]), int(match[2])) < RESET_KNOWN


def _group_with(context: Context, subject: Subject, mine: Controller, vm: str) -> str | UnsetType | None:
    """Another running VM that has a function of the same IOMMU group."""
    if not known(mine.group):
        return UNSET
    members = {member.address for member in mine.group}
    others = [one for one in items(context.evidence) if one.vm != vm and one.controller in members]
    for one in others:
        if one.running is True and one.in_live is True:
            return one.vm
    return UNSET if subject.partial or any(not known(one.running) or not known(one.in_live) for one in others) else None


def given_to(context: Context, vm: str) -> set[str | None]:
    """PCI functions that a VM is given: they leave the host together."""
    return {one.controller for one in items(context.evidence) if one.vm == vm}


def still_driven(
    controller: Controller, given: set[str | None], among: Callable[[str], bool] | None = None
) -> list[str] | UnsetType:
    """Members of its IOMMU group that a host driver still uses and the VM is not given; `among` picks by class.

    Bridges do not count (Linux, Documentation/driver-api/vfio.rst).
    """
    if not known(controller.group):
        return UNSET
    found = []
    for member in controller.group:
        if member.address in given:
            continue
        if not known(member.driver) or not known(member.class_):
            return UNSET
        free = member.driver is None or member.driver.startswith(("vfio", "pci-stub", "pcieport"))
        if not free and not is_bridge(member.class_) and (among is None or among(member.class_)):
            found.append(f"{member.address} ({function_word(member.class_)}, driver {member.driver})")
    return found
