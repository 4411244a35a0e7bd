"""Hosts of the invented house with a VM that is given a whole USB controller."""

from __future__ import annotations

from typing import Any

from msgspec import structs

from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Handle, Handles
from radiocheck.evidence.usb import Controller
from radiocheck.evidence.vm import Domain, PciArg

from . import machines as m

HOME, FAR = "0000:00:14.0", "0000:05:00.0"


def controller(address: str = HOME, **change: Any) -> Controller:
    """A controller that the host drives, alone in its IOMMU group."""
    made = Controller(
        address=address,
        class_="0c0330",
        vid="8086",
        pid="1e31",
        driver="xhci_hcd",
        driver_override=None,
        reserved=None,
        vfio=False,
        iommu_group=4,
        group=[],
        buses=[1],
    )
    return structs.replace(made, **change)


def away(address: str = HOME, **change: Any) -> Controller:
    """A controller that vfio-pci has."""
    return controller(
        address, **{"driver": "vfio-pci", "driver_override": "vfio-pci", "vfio": True, "buses": [], **change}
    )


def asks(
    *addresses: str, vm: str = "hearth", managed: bool = True, running: bool = False, autostart: bool = True
) -> Domain:
    """A domain that is given these PCI functions."""
    definition = structs.replace(m.definition(), pci=[PciArg(address=one, managed=managed) for one in addresses])
    return m.domain(vm, live=definition if running else None, next=definition, autostart=autostart)


def off(domain: Domain | None = None, **change: Any) -> Evidence:
    """The VM is off, and the host has controller and stick meanwhile."""
    facts: dict[str, Any] = {
        "controllers": [controller()],
        "pci_functions": [HOME, FAR],
        "domains": [domain or asks(HOME)],
        "disks": [],
    }
    return m.native(**{**facts, **change})


def vfio_node(pid: int = 700, path: str = "/dev/vfio/4") -> Handle:
    """An open VFIO node of a QEMU process."""
    return Handle(pid=pid, command="qemu-system-x86", path=path, major=235, minor=0, hypervisor=True)


def given(**change: Any) -> Evidence:
    """The running VM `hearth` has the whole controller, so the host shows neither bus nor stick."""
    facts: dict[str, Any] = {
        "usb": [],
        "ports": [],
        "ttys": [],
        "links": [],
        "modules": [],
        "usb_nodes": [],
        "controllers": [away()],
        "domains": [asks(HOME, running=True)],
        "qemu": [m.process(pci=[PciArg(address=HOME)], libvirt=True)],
        "handles": Handles(open=[vfio_node()], unread=0),
        "disks": [],
    }
    return m.native(**{**facts, **change})
