"""Facts about a whole USB controller that a VM is given."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import Controller

from .context import Context
from .item import Item
from .items import items


def controller_facts(context: Context, item: Item) -> dict[str, Any]:
    """What of the controller is there, who drives it, and what shares its IOMMU group."""
    facts: dict[str, Any] = {}
    controllers = context.evidence.controllers
    if not known(controllers):
        return facts
    mine = next((one for one in controllers if one.address == item.controller), None)
    facts |= {
        "controller_exists": mine is not None,
        "picks_this": mine is not None,
        "matches": 0 if mine is None else 1,
    }
    if mine is not None:
        facts |= {
            "controller_driver": mine.driver,
            "controller_vfio": mine.vfio,
            "iommu": UNSET if not known(mine.iommu_group) else mine.iommu_group is not None,
            "group_others": _still_driven(mine, _given_to(context, item.vm)),
        }
    if item.running is False:
        facts["controller_held"] = False
    elif item.process is not None:
        handles = context.handles_of(item.process.pid)
        if known(handles):
            facts["controller_held"] = any("/vfio/" in one.path or one.path == "/dev/iommu" for one in handles)
    return facts


def _given_to(context: Context, vm: str) -> set[str | None]:
    """PCI functions that a VM is given: they leave the host together."""
    return {one.controller for one in items(context.evidence) if one.vm == vm}


def _still_driven(controller: Controller, given: set[str | None]) -> list[str] | UnsetType:
    """Members of its IOMMU group that a host driver still uses and the VM is not given.

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
        bridge = member.class_.removeprefix("0x").startswith("0604")
        if member.driver is not None and not member.driver.startswith(("vfio", "pci-stub", "pcieport")) and not bridge:
            found.append(f"{member.address} ({member.driver})")
    return found
