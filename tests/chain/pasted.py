"""Facts of adapters that configuration is made for: the usual, the unlucky, and those that mean harm."""

from __future__ import annotations

import copy
from typing import Any

from msgspec import structs

from radiocheck.chain.build import view
from radiocheck.chain.context import context
from radiocheck.chain.subjects import subjects
from radiocheck.chain.view import plain
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Link
from radiocheck.evidence.vm import HostdevUsb

from . import machines as m
from .test_judge import two

PINNED = HostdevUsb(bus=1, address=4)
CONTROLLERS = [structs.replace(m.native().controllers[0], iommu_group=5)]
EVIL = "A\"'<>&\\\n$(reboot)`x`,%n{}*[]|;\u202e"


def facts(evidence: Evidence) -> dict[str, Any]:
    """The facts of its first adapter, with its first line of a VM's configuration as `assignment`."""
    found = subjects(evidence)
    given = copy.deepcopy(plain(view(context(evidence, found), found[0])))
    if given.get("assignments"):
        given["assignment"] = given["assignments"][0]
    return given


def usual() -> dict[str, Any]:
    """Everything known, nothing unusual: native with its names, and asked for by a VM that is off."""
    by_path = Link(path="/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0", target="ttyACM0", claimants=["ttyACM0"])
    evidence = m.native(
        links=[*m.native().links, by_path],
        controllers=CONTROLLERS,
        disks=[],
        domains=[m.domain(next=m.definition(PINNED))],
        libvirt_version="12.8.0",
    )
    given = facts(evidence)
    given["assignment"] |= {"as_user": None, "as_group": "dialout"}
    return given


def changed(given: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    """A copy with one fact changed."""
    given = copy.deepcopy(given)
    section, _, name = path.partition(".")
    given[section][name] = value
    return given


def adapters() -> dict[str, dict[str, Any]]:
    """Facts by what is special about them."""
    base = usual()
    twin = facts(m.native(**two(), controllers=CONTROLLERS, disks=[], libvirt_version="12.8.0"))
    nothing: dict[str, Any] = {name: {} for name in base if isinstance(base[name], dict)}
    found = {
        "usual": base,
        "twin": twin,
        "twin, a libvirt without ports": changed(twin, "host.libvirt_names_ports", False),
        "twin, a libvirt that was not seen": {**twin, "host": {}},
        "without a serial number": changed(base, "adapter.serial", None),
        "optional": changed(base, "assignment.startup", "optional"),
        "behind hubs": changed(base, "adapter.path", "1.4.3.2"),
        "behind more hubs than libvirt takes": changed(base, "adapter.path", "1.4.3.2.1"),
        "QEMU with an account of its own": changed(base, "assignment.as_user", "qemu"),
        "QEMU with one nameless group": changed(base, "assignment.as_group", "107"),
        "unplugged": changed(base, "adapter.present", False),
        "nothing known": nothing,
    }
    hostile = {
        "adapter": ("vid", "pid", "serial", "path", "controller"),
        "assignment": ("as_user", "as_group", "startup"),
        "access": ("serial_group",),
        "name": ("by_id", "by_path"),
    }
    for section, names in hostile.items():
        for name in names:
            found[f"hostile {section}.{name}"] = changed(base, f"{section}.{name}", EVIL)
    for name in ("bus", "address", "twins"):
        found[f"hostile adapter.{name}"] = changed(base, f"adapter.{name}", EVIL)
    return found
