"""What libvirt's domains ask for, now and at their next start."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.vm import Definition, Domain, HostdevUsb, QemuProcess

from .item import Item

OFF = frozenset({"shut off", "crashed", "no state", "shutoff"})


def is_running(domain: Domain) -> bool | UnsetType:
    """Whether the domain has a process (paused counts)."""
    if known(domain.live):
        return domain.live is not None
    return UNSET if not known(domain.state) else domain.state not in OFF


def of_domain(domain: Domain, process: QemuProcess | None) -> list[Item]:
    """All lines of one domain, running and kept ones put together."""
    running = is_running(domain)
    common: dict[str, Any] = {
        "vm": domain.name,
        "manager": "libvirt",
        "running": running,
        "autostart": domain.autostart,
        "process": process,
    }
    now = domain.live if known(domain.live) else None
    later = domain.next if known(domain.next) else None
    result = [replace(item, **common) for item in of_definition(domain.name, later)]
    rest = [replace(item, **common) for item in of_definition(domain.name, now)]
    in_live: bool | UnsetType = False if running is False or known(domain.live) else UNSET
    # A transient domain has only what it was started with; whoever creates it will say the same again.
    in_next: bool | UnsetType = domain.next is None if known(domain.next) else UNSET
    merged = []
    for item in result:
        twin = next((other for other in rest if same(item, other)), None)
        bus = later.usb_bus if later else UNSET
        if twin is None:
            merged.append(replace(item, in_next=True, in_live=in_live, usb_bus=bus))
            continue
        rest.remove(twin)
        merged.append(
            replace(
                item,
                in_next=True,
                in_live=True,
                usb_bus=bus,
                missing=twin.missing,
                live_bus=twin.bus,
                live_address=twin.address,
            )
        )
    for item in rest:
        # libvirt writes the resolved number into the live XML; with IDs beside it, it is no choice of the owner.
        live: dict[str, Any] = {
            "live_bus": item.bus,
            "live_address": item.address,
            "usb_bus": now.usb_bus if now else UNSET,
        }
        if item.selector == "ids-address":
            item = replace(item, selector="ids", bus=None, address=None)
        merged.append(replace(item, in_live=True, in_next=in_next, **live))
    return merged


def same(later: Item, now: Item) -> bool:
    """Whether a line of the running VM came from that line of its configuration."""
    if later.kind != now.kind or later.controller != now.controller or later.tty != now.tty:
        return False
    if later.kind != "device":
        return True
    if later.vid is not None:
        return (later.vid, later.pid) == (now.vid, now.pid)
    if later.path is not None and now.path is not None:
        return later.path == now.path
    return (later.bus, later.address) == (now.bus, now.address)


def of_definition(vm: str, definition: Definition | None) -> list[Item]:
    """The lines of one domain XML."""
    if definition is None:
        return []
    found = [_hostdev(vm, device) for device in definition.usb]
    found += [
        Item(
            vm=vm,
            manager="libvirt",
            kind="controller",
            selector="controller",
            text=f"hostdev pci {pci.address}",
            controller=pci.address,
            managed=pci.managed,
        )
        for pci in definition.pci
    ]
    found += [
        Item(vm=vm, manager="libvirt", kind="forwarded", selector="tty", text=f"serial from {tty.path}", tty=tty.path)
        for tty in definition.ttys
    ]
    return found


def _hostdev(vm: str, device: HostdevUsb) -> Item:
    ids = device.vid is not None
    words = []
    if ids:
        words.append(f"{device.vid}:{device.pid}")
    if device.address is not None:
        words.append(f"bus {device.bus} device {device.address}{' since its start' if device.resolved else ''}")
    if device.port is not None:
        words.append(f"bus {device.bus} port {device.port}")
    if device.startup:
        words.append(f"startupPolicy {device.startup}")
    if device.port is not None:
        selector = "port"
    elif device.address is not None:
        selector = "ids-address" if ids else "address"
    else:
        selector = "ids" if ids else "nothing"
    if device.resolved:
        return Item(
            vm=vm,
            manager="libvirt",
            kind="device",
            selector="ids",
            text="hostdev " + ", ".join(words),
            vid=device.vid,
            pid=device.pid,
            in_live=True,
            live_bus=device.bus,
            live_address=device.address,
            startup=device.startup,
        )
    return Item(
        vm=vm,
        manager="libvirt",
        kind="device",
        selector=selector,
        text="hostdev " + ", ".join(words),
        vid=device.vid,
        pid=device.pid,
        bus=device.bus,
        address=device.address,
        path=device.port,
        missing=device.missing,
        startup=device.startup,
    )
