"""Facts that decide what a piece of configuration may name: sockets, controllers, groups, accounts."""

from __future__ import annotations

import re
from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Node, Tty
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import QemuProcess

from .carried import carried, mounted
from .context import Context
from .facts_controller import still_driven

# <address bus= port=> in the source of a USB hostdev: absent in the schema of 11.3.0, present in that of
# 12.8.0; the release that brought it was not found.
LAST_WITHOUT_PORT, FIRST_WITH_PORT = (11, 3), (12, 8)
# Accounts of programs, by systemd's build option system-gid-max.  From systemd 258 on udev ignores
# GROUP= and OWNER= that name others (its NEWS).
SYSTEM = range(1, 1000)
# The group of serial ports: rules.d/50-udev-default.rules of systemd; Arch replaces it (from memory).
SERIAL_GROUPS = {
    "dialout": re.compile(r"debian|ubuntu|fedora|red hat|centos|alma|rocky|suse", re.I),
    "uucp": re.compile(r"\barch\b|manjaro|endeavour", re.I),
}


def names_ports(evidence: Evidence) -> bool | UnsetType:
    """Whether libvirt's XML can name the socket of a USB device."""
    version = evidence.libvirt_version
    match = re.match(r"(\d{1,4})\.(\d{1,4})\b", version) if isinstance(version, str) else None
    if match is None:
        return UNSET
    release = (int(match[1]), int(match[2]))
    if release <= LAST_WITHOUT_PORT:
        return False
    return True if release >= FIRST_WITH_PORT else UNSET


def above(context: Context, device: UsbDevice) -> dict[str, Any]:
    """The PCI controller above a device, and what else the host would lose with it."""
    if not known(device.controller):
        return {}
    name = device.controller
    if name is None or not re.fullmatch(r"[0-9a-f]{4,8}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]", name):
        return {"controller": None}
    facts: dict[str, Any] = {
        "controller": name,
        "beside": carried(context, name, device),
        "beside_mounts": mounted(context, {name}),
    }
    controllers = context.evidence.controllers
    mine = next((one for one in controllers if one.address == name), None) if known(controllers) else None
    if mine is not None:
        facts["iommu"] = UNSET if not known(mine.iommu_group) else mine.iommu_group is not None
        facts["group_others"] = still_driven(mine, {name})
    return facts


def serial_group(context: Context, tty: Tty | None) -> str | UnsetType | None:
    """The group that serial ports have here: that of the other ports, else the distribution's."""
    if known(context.ttys) and context.whole("ttys"):
        nodes = [one.node for one in context.ttys.values() if one is not tty]
        groups = {node.group for node in nodes if isinstance(node, Node) and isinstance(node.group, str)} - {"root"}
        if len(groups) == 1:
            return groups.pop()
    host = context.evidence.host
    if not known(host) or not isinstance(host.distribution, str):
        return UNSET
    return next((group for group, words in SERIAL_GROUPS.items() if words.search(host.distribution)), None)


def account(context: Context, process: QemuProcess) -> dict[str, Any]:
    """A system account or group that a QEMU process runs with, for a rule of udev to name.

    Of several groups the one of the serial ports is taken: its members may open the
    adapter's tty already.  null: there is none, or none stands out.
    """
    facts: dict[str, Any] = {}
    if known(process.uid) and (process.uid not in SYSTEM or isinstance(process.user, str)):
        facts["as_user"] = process.user if process.uid in SYSTEM else None
    if known(process.groups):
        own = [gid for gid in process.groups if gid in SYSTEM]
        named = {node.gid: node.group for node in _nodes(context) if known(node.gid) and isinstance(node.group, str)}
        fitting = [named[gid] for gid in own if gid in named]
        facts["as_group"] = fitting[0] if fitting else str(own[0]) if len(own) == 1 else None
    return facts


def _nodes(context: Context) -> list[Node]:
    nodes = [one.node for one in context.ttys.values()] if known(context.ttys) else []
    return [node for node in nodes if isinstance(node, Node)]
