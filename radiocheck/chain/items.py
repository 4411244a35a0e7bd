"""Lines of VM configurations that give a USB device, a controller or a tty to a VM."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, Struct, UnsetType
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import Definition, Domain, HostdevUsb, QemuProcess, UsbHostArg

NODE = re.compile(r"/dev/bus/usb/0*(\d+)/0*(\d+)")
OFF = frozenset({"shut off", "crashed", "no state", "shutoff"})


class Item(Struct, frozen=True):
    """One assignment as configured.  Numbers that pin are of the next start, `live_*` of the running VM."""

    vm: str
    manager: str  # libvirt, qemu
    kind: str  # device, controller, forwarded
    selector: str
    text: str
    vid: str | None = None
    pid: str | None = None
    bus: int | None = None
    address: int | None = None
    path: str | None = None
    controller: str | None = None
    tty: str | None = None
    running: bool | UnsetType = UNSET
    autostart: bool | UnsetType | None = UNSET
    in_live: bool | UnsetType = UNSET
    in_next: bool | UnsetType = UNSET
    usb_bus: bool | UnsetType = UNSET
    live_bus: int | UnsetType | None = UNSET
    live_address: int | UnsetType | None = UNSET
    missing: bool = False
    process: QemuProcess | None = None

    @property
    def pinned(self) -> bool:
        """Selected by a device number, which changes at every enumeration."""
        return self.selector in ("address", "node", "ids-address") and not self.unresolved

    @property
    def unresolved(self) -> bool:
        """Names a node by a path that is not its own, such as a udev link: what it picks was not seen."""
        return self.selector == "node" and self.address is None


def items(evidence: Evidence) -> list[Item]:
    """All assignments of all VMs that could be looked at."""
    processes = list(evidence.qemu) if known(evidence.qemu) else []
    domains = list(evidence.domains) if known(evidence.domains) else []
    found: list[Item] = []
    named = {domain.name for domain in domains}
    for domain in domains:
        process = next((process for process in processes if process.name == domain.name), None)
        found += _of_domain(domain, process)
    for process in processes:
        if process.name not in named:
            found += _of_process(process)
    return found


def vm_name(process: QemuProcess) -> str:
    """A name for the VM of a process."""
    return process.name if isinstance(process.name, str) else f"QEMU process {process.pid}"


def is_running(domain: Domain) -> bool | UnsetType:
    """Whether the domain has a process (paused counts)."""
    if known(domain.live):
        return domain.live is not None
    return UNSET if not known(domain.state) else domain.state not in OFF


def _of_domain(domain: Domain, process: QemuProcess | None) -> list[Item]:
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
    result = [replace(item, **common) for item in _of_definition(domain.name, later)]
    rest = [replace(item, **common) for item in _of_definition(domain.name, now)]
    in_live: bool | UnsetType = False if running is False or known(domain.live) else UNSET
    # A transient domain has only what it was started with; whoever creates it will say the same again.
    in_next: bool | UnsetType = domain.next is None if known(domain.next) else UNSET
    merged = []
    for item in result:
        twin = next((other for other in rest if _same(item, other)), None)
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


def _same(later: Item, now: Item) -> bool:
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


def _of_definition(vm: str, definition: Definition | None) -> list[Item]:
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
        words.append(f"bus {device.bus} device {device.address}")
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
    )


def _of_process(process: QemuProcess) -> list[Item]:
    common: dict[str, Any] = {
        "vm": vm_name(process),
        "manager": "qemu",
        "running": True,
        "autostart": None,
        "process": process,
        "in_live": True,
        # libvirt resolves what its XML says before it starts QEMU: the command line does not tell the next start.
        "in_next": UNSET if process.libvirt is True else True,
        "usb_bus": process.usb_bus,
    }
    found = [_usb_host(argument) for argument in (process.usb if known(process.usb) else [])]
    if process.libvirt is True:
        common["manager"] = "libvirt"
        found = [replace(item, missing=item.selector == "nothing") for item in found]
    found += [
        Item(
            vm="",
            manager="",
            kind="controller",
            selector="controller",
            text=f"vfio-pci {pci.address}",
            controller=pci.address,
        )
        for pci in (process.pci if known(process.pci) else [])
    ]
    found += [
        Item(vm="", manager="", kind="forwarded", selector="tty", text=f"character device {tty.path}", tty=tty.path)
        for tty in (process.ttys if known(process.ttys) else [])
    ]
    return [replace(item, **common) for item in found]


def _usb_host(argument: UsbHostArg) -> Item:
    """Selector by QEMU's usb_host_realize (hw/usb/host-libusb.c): hostdevice= comes before all others."""
    bus, address = argument.bus, argument.address
    if argument.node is not None:
        selector = "node"
        if match := NODE.fullmatch(argument.node):
            bus, address = int(match[1]), int(match[2])
    elif argument.address is not None:
        selector = "ids-address" if argument.vid or argument.pid else "address"
    elif argument.port is not None:
        selector = "port" if argument.bus is not None else "port-any-bus"
    elif argument.vid is not None or argument.pid is not None:
        selector = "ids"
    else:
        selector = "nothing"
    words = [
        f"{name}={value}"
        for name, value in (
            ("vendorid", argument.vid),
            ("productid", argument.pid),
            ("hostbus", argument.bus),
            ("hostaddr", argument.address),
            ("hostport", argument.port),
            ("hostdevice", argument.node),
        )
        if value is not None
    ]
    pinned = selector in ("address", "node", "ids-address")
    return Item(
        vm="",
        manager="",
        kind="device",
        selector=selector,
        text="usb-host " + (", ".join(words) or "without a selector"),
        vid=argument.vid,
        pid=argument.pid,
        bus=bus,
        address=address,
        path=argument.port,
        live_bus=bus if pinned else None,
        live_address=address if pinned else None,
    )


def picks(item: Item, device: UsbDevice) -> bool:
    """Whether a selector picks out a present device (host.c `usb_host_auto_check`, virhostdev.c)."""
    if item.selector == "nothing" or item.unresolved:
        return False
    return (
        (item.vid is None or item.vid == device.vid)
        and (item.pid is None or item.pid == device.pid)
        and (item.bus is None or item.bus == device.bus)
        and (item.address is None or item.address == device.devnum)
        and (item.path is None or item.path == device.path)
    )


def picked(item: Item, devices: Sequence[UsbDevice]) -> list[UsbDevice]:
    """All present devices that it picks out."""
    return [device for device in devices if picks(item, device)]
