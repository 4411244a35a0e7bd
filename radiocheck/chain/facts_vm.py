"""Facts about what VM configurations ask for and what running VMs hold."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import Handle
from radiocheck.evidence.usb import Controller, UsbDevice

from .adapters import is_hub, label
from .context import TTY_MAJORS, USBFS_MAJOR, Context
from .held import device_ttys, usb_minor
from .items import Item, items, picked, picks, vm_name
from .rights import may_open
from .subjects import Subject, tty_behind
from .view import AssignmentFacts, HandoverFacts

REFUSALS = frozenset({"node-refused"})  # libusb could not open the node: errno 13 or 1


def assignment_facts(context: Context, subject: Subject) -> list[AssignmentFacts]:
    """One element per configuration line that concerns this adapter, and an empty one for what was not seen."""
    found = []
    for position, item in enumerate(subject.items):
        facts = _common(context, subject, item) | {"guessed": position in subject.guessed}
        if item.kind == "device":
            facts |= _device(context, subject, item)
        elif item.kind == "controller":
            facts |= _controller(context, item)
        else:
            facts |= _forwarded(context, subject, item)
        found.append(AssignmentFacts(**facts))
    return [*found, AssignmentFacts()] if subject.partial else found


def handover_facts(context: Context, subject: Subject) -> HandoverFacts:
    """Who holds it at this moment, over all VMs."""
    facts: dict[str, Any] = {}
    device = subject.device
    if not subject.partial:
        facts["assigned"] = len({item.vm for item in subject.items})
        running = {item.vm for item in subject.items if item.running is True}
        if all(known(item.running) for item in subject.items):
            facts["running"] = len(running)
    if device is not None:
        holders = context.holders(USBFS_MAJOR, usb_minor(device))
        if known(holders):
            hypervisors = {one.pid for one in holders if one.hypervisor is True}
            strangers = _strangers(context, subject, hypervisors)
            no_vm = known(context.evidence.qemu) and not context.evidence.qemu
            if context.all_handles_seen() or no_vm:
                facts |= {"hypervisors": len(hypervisors), "stranger": strangers}
            else:  # what is seen is seen; what is not may still be there
                if len(hypervisors) > 1:
                    facts["hypervisors"] = len(hypervisors)
                if isinstance(strangers, str):
                    facts["stranger"] = strangers
    return HandoverFacts(**facts)


def _strangers(context: Context, subject: Subject, pids: set[int]) -> str | UnsetType | None:
    """A VM that holds it and does not keep a line for it, while another VM does."""
    if subject.partial or not known(context.evidence.qemu):
        return UNSET
    mine = {item.vm for item in subject.items if item.in_next is not False}
    if not mine:
        return None
    for process in context.evidence.qemu:
        if process.pid in pids and vm_name(process) not in mine:
            return vm_name(process)
    return None


def _common(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    process = item.process
    started = process.started if process is not None else UNSET
    messages = context.evidence.vm_messages
    facts: dict[str, Any] = {
        "vm": item.vm,
        "manager": item.manager,
        "kind": item.kind,
        "selector": item.selector,
        "text": item.text,
        "running": item.running,
        "autostart": item.autostart,
        "in_live": item.in_live,
        "in_next": item.in_next,
        "usb_bus": item.usb_bus,
        "tty_path": item.tty,
        "controller": item.controller,
        "missing": item.missing,
        "started_s": int(context.now - started) if known(started) else UNSET,
    }
    if known(messages):
        mine = [one for one in messages if one.vm in (item.vm, None)]
        facts["errors"] = [one.text for one in mine]
        facts["refused"] = sum(1 for one in mine if one.kind in REFUSALS and one.vm == item.vm)
    if known(context.events) and known(started):
        place = subject.device.name if subject.device is not None else subject.place
        facts["re_enumerated"] = sum(
            1
            for event in context.events
            if event.kind == "found" and event.device == place and event.at is not None and event.at > started
        )
    return facts


def _device(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    device = subject.device
    facts: dict[str, Any] = {
        "pinned": item.pinned,
        "next_pinned": UNSET if not known(item.in_next) else item.pinned and item.in_next,
    }
    bound = known(item.live_address) and item.live_address is not None
    facts["live_pinned"] = bound
    facts["live_node"] = f"{item.live_bus}:{item.live_address}" if bound else None
    if known(context.devices) and not item.unresolved:
        devices = [one for one in context.devices.values() if not is_hub(one)]
        chosen = picked(item, devices)
        facts["matches"] = len(chosen)
        facts["picks_this"] = device is not None and picks(item, device)
        other = next((one for one in chosen if one is not device), None)
        facts["picks_other"] = label(other) if other is not None and not facts["picks_this"] else None
        if bound:
            facts["live_current"] = device is not None and (item.live_bus, item.live_address) == (
                device.bus,
                device.devnum,
            )
    if item.running is False:
        return facts | {"holds": False, "dead": False, "holds_other": None}
    if item.process is None:
        return facts
    handles = _of_process(context, item.process.pid)
    facts |= _holding(context, item, device, handles)
    if device is not None and (not bound or facts.get("live_current") is True) and not item.missing:
        facts["may_open"] = _may_open(context, item, device)
    return facts


def _of_process(context: Context, pid: int) -> list[Handle] | UnsetType:
    """What a process holds open; absent when it could not be looked into."""
    if not known(context.evidence.handles):
        return UNSET
    mine = [one for one in context.evidence.handles.open if one.pid == pid]
    return mine if mine or context.all_handles_seen() else UNSET


def _holding(
    context: Context, item: Item, device: UsbDevice | None, handles: list[Handle] | UnsetType
) -> dict[str, Any]:
    if not known(handles):
        return {}
    usb = [one for one in handles if one.major == USBFS_MAJOR]
    minors: dict[int | None, UsbDevice] = {}
    if known(context.devices):
        minors = {usb_minor(one): one for one in context.devices.values()}
    current = usb_minor(device) if device is not None else None
    holds = device is not None and any(one.minor == current and not one.deleted for one in usb)
    others = [minors[one.minor] for one in usb if not one.deleted and one.minor in minors and one.minor != current]
    other = next((one for one in others if picks(item, one)), None)
    dead = [one for one in usb if one.deleted or (known(context.devices) and one.minor not in minors)]
    return {
        "holds": holds,
        "holds_other": label(other) if other is not None and not holds else None,
        "dead": bool(dead) and not holds,
    }


def _may_open(context: Context, item: Item, device: UsbDevice) -> bool | UnsetType:
    """By the node as the process itself sees it, else by the host's node."""
    process = item.process
    if process is None:
        return UNSET
    if process.uid == 0:
        return True
    if known(process.own_nodes):
        minor = usb_minor(device)
        own = next((node for node in process.own_nodes if node.major == USBFS_MAJOR and node.minor == minor), None)
        return False if own is None else may_open(own, process.uid, process.groups)
    if item.manager == "libvirt":  # libvirt makes the node inside the VM's own /dev; the host's node says nothing
        return UNSET
    node = context.usb_node(device)
    return may_open(node, process.uid, process.groups) if known(node) else UNSET


def _controller(context: Context, item: Item) -> dict[str, Any]:
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
        handles = _of_process(context, item.process.pid)
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


def _forwarded(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
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
    handles = _of_process(context, item.process.pid)
    if known(handles) and known(context.ttys):
        nodes = [context.ttys[name].node for name in ttys if name in context.ttys]
        numbers = {(node.major, node.minor) for node in nodes if known(node) and node is not None}
        facts["tty_open"] = any((one.major, one.minor) in numbers and not one.deleted for one in handles)
        facts["dead"] = any(one.major in TTY_MAJORS and one.deleted for one in handles)
    return facts
