"""Block devices that the host uses, and the USB device or PCI function that each is behind.

Files: /proc/self/mountinfo (proc_pid_mountinfo(5)), /proc/swaps (proc_swaps(5)),
/sys/dev/block and /sys/class/block (Linux, Documentation/ABI/stable/sysfs-block and
testing/sysfs-dev): the link of a block device leads through the devices above it.
What lies on others (device mapper, md) names them under `slaves`.
"""

from __future__ import annotations

import os
import re

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.disk import Disk
from radiocheck.evidence.record import Gap

from .machine import Machine, Seen, decoded, refused
from .mounts import mounts, plain

BLOCK = "/sys/class/block"
BTRFS = "/sys/fs/btrfs"
DEPTH = 8  # layers of device mapper and md that are followed; real ones have two or three

_NUMBER = r"\d{1,4}:\d{1,7}"
_USB = r"\d{1,4}-\d{1,3}(?:\.\d{1,3})*"
_PCI = r"[0-9a-f]{4,8}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]"
_POOLED = frozenset({"zfs", "bcachefs"})  # their devices show neither in mountinfo nor under /sys/block


def collect(machine: Machine) -> Seen:
    """`disks`: every block device below a mounted file system or swap space."""
    used: dict[str, list[str]] = {}
    try:
        for name, place in [*_mounted(machine), *_swaps(machine)]:
            for disk in _below(machine, name, DEPTH):
                places = used.setdefault(disk, [])
                if place not in places:
                    places.append(place)
        disks = [_disk(machine, name, places) for name, places in sorted(used.items())]
    except _Pooled as error:
        detail = f"{error} does not tell which disks it is on"
        return Seen(gaps=(Gap(what=f"disks[{error}]", why="not-here", detail=detail),))
    except FileNotFoundError:
        return Seen(gaps=(Gap(what="disks", why="not-here", detail="/proc is not mounted", provide="mount /proc"),))
    except OSError as error:
        return Seen(gaps=(refused("disks", error),))
    return Seen({"disks": disks})


class _Pooled(Exception):
    """A file system over devices that it does not name."""


def _mounted(machine: Machine) -> list[tuple[str, str]]:
    """Block device and place of every mount that has one.  Raises `OSError` and `_Pooled`."""
    found: dict[tuple[str, str], None] = {}
    for mount in mounts(machine):
        if mount.kind in _POOLED:
            raise _Pooled(mount.kind)
        name = None
        if re.fullmatch(_NUMBER, mount.device) and not mount.device.startswith("0:"):
            name = machine.target(f"/sys/dev/block/{mount.device}")
        elif mount.origin.startswith("/dev/"):  # btrfs has a number of its own
            name = _named(machine, mount.origin)
        if name is not None:
            all_names = _together(machine, name) if mount.kind == "btrfs" else [name]
            found |= {(one, _place(mount.point)): None for one in all_names}
    return list(found)


def _together(machine: Machine, name: str) -> list[str]:
    """The devices of one btrfs (Linux, fs/btrfs/sysfs.c)."""
    for system in machine.names(BTRFS):
        devices = machine.names(f"{BTRFS}/{system}/devices")
        if name in devices:
            return devices
    return [name]


def _place(point: str) -> str:
    """The first folder of a path; what people call their folders is not our business."""
    return "/" + point.lstrip("/").partition("/")[0]


def _swaps(machine: Machine) -> list[tuple[str, str]]:
    """Block devices with swap space in use; a swap file lies on a mount that is told already."""
    lines = (machine.attribute("/proc/swaps") or "").split("\n")[1:]
    rows = [line.split() for line in lines]
    names = [_named(machine, plain(row[0])) for row in rows if len(row) > 1 and row[1] == "partition"]
    return [(name, "swap") for name in names if name is not None]


def _named(machine: Machine, node: str) -> str | None:
    """The block device of a node: by its own name, or by that of the link's target (/dev/mapper/…)."""
    name = node.rpartition("/")[2]
    if not machine.exists(f"{BLOCK}/{name}"):
        name = machine.target(node) or name
    return name if machine.exists(f"{BLOCK}/{name}") else None


def _below(machine: Machine, name: str, depth: int) -> list[str]:
    """The devices that one lies on, itself when it lies on none."""
    lower = machine.names(f"{BLOCK}/{name}/slaves") if depth else []
    return [disk for one in lower for disk in _below(machine, one, depth - 1)] or [name]


def _disk(machine: Machine, name: str, places: list[str]) -> Disk:
    try:
        steps = decoded(os.readlink(machine.path(f"{BLOCK}/{name}"))).split("/")
    except FileNotFoundError:  # it left meanwhile
        return Disk(name=decoded(name), usb=UNSET, pci=UNSET, mounts=places)
    return Disk(
        name=decoded(name),
        usb=next((step for step in reversed(steps) if re.fullmatch(_USB, step)), None),
        pci=next((step for step in reversed(steps) if re.fullmatch(_PCI, step)), None),
        mounts=[decoded(place) for place in places],
    )
