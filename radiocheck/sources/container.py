"""The nodes of USB ttys as a container is given them, against the numbers that the kernel gives out now.

/sys shows a container all devices of the machine; /dev is its own.  A node stays what it
was at the container's start: neither the kernel nor udev adds one, or gives it another
number, when the adapter is plugged in again.
"""

from __future__ import annotations

import os
import re
import stat

from msgspec import Struct, field
from msgspec.structs import replace

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.container import ContainerNode
from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import Node

from . import proc
from .acl import read_node
from .containment import container
from .device_list import listed
from .machine import Machine, Seen, refused
from .mounts import Mount, mounts, over

CLASS = "/sys/class/tty"
ENTRIES = 20_000  # of /dev at most; a machine with a thousand disks stays below
_DEPTH = 6
_OTHERS = frozenset({"pts", "shm", "mqueue", "hugepages", "fd", "bus", "disk", "block"})  # hold no serial nodes
_ON_USB = re.compile(r"/usb\d+/")

Number = tuple[int, int]


class Found(Struct):
    """The character devices below /dev, by number."""

    nodes: dict[Number, list[str]] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)  # folders that could not be listed
    entries: int = 0


def collect(machine: Machine) -> Seen:
    """`container_nodes`: one for each USB tty of the kernel; nothing outside of containers."""
    if not isinstance(container(machine), str):
        return Seen()
    gaps: list[Gap] = []
    try:
        numbers = _numbers(machine)
        found = _walk(machine, {major for major, _ in numbers.values()}) if numbers else Found()
    except OSError as error:
        return Seen({}, (refused("container_nodes", error),))
    if found.entries > ENTRIES:
        detail = f"/dev holds more than {ENTRIES} entries"
        return Seen({}, (Gap(what="container_nodes", why="failed", detail=detail),))
    nodes = [
        _seen(machine, ContainerNode(tty=tty, major=number[0], minor=number[1]), numbers, found, gaps)
        for tty, number in sorted(numbers.items())
    ]
    return Seen({"container_nodes": nodes}, tuple(gaps))


def _numbers(machine: Machine) -> dict[str, Number]:
    """The kernel's ttys on USB and their numbers now.  Raises `OSError`."""
    numbers = {}
    for name in machine.names(CLASS):
        try:
            link = os.readlink(machine.path(f"{CLASS}/{name}"))
        except OSError:
            continue  # not a tty, or left meanwhile
        if not _ON_USB.search(link):
            continue
        major, colon, minor = (machine.attribute(f"{CLASS}/{name}/dev") or "").strip().partition(":")
        if colon and major.isdecimal() and minor.isdecimal():
            numbers[name] = (int(major), int(minor))
    return numbers


def _walk(machine: Machine, majors: set[int]) -> Found:
    """All nodes of these majors below /dev and on device mounts elsewhere, links to them included."""
    found = Found()
    _folder(machine, "/dev", majors, found, _DEPTH)
    for mount in _mounts(machine) or []:
        if mount.point.startswith("/dev/") or mount.point == "/dev" or mount.kind not in ("devtmpfs", "tmpfs"):
            continue
        _entry(machine, mount.point, majors, found, _DEPTH if mount.kind == "devtmpfs" else 0)
    return found


def _folder(machine: Machine, folder: str, majors: set[int], found: Found, depth: int) -> None:
    try:
        names = machine.names(folder)
    except OSError:
        found.unread.append(folder)
        return
    found.entries += len(names)
    for name in names if found.entries <= ENTRIES else []:
        if name not in _OTHERS:
            _entry(machine, f"{folder}/{name}", majors, found, depth)


def _entry(machine: Machine, path: str, majors: set[int], found: Found, depth: int) -> None:
    try:
        own = os.lstat(machine.path(path)).st_mode
        if stat.S_ISDIR(own):  # a link to a folder is not followed
            if depth:
                _folder(machine, path, majors, found, depth - 1)
            return
        if not (stat.S_ISCHR(own) or stat.S_ISLNK(own)):
            return
        seen = os.stat(machine.path(path))
    except OSError:
        return  # left meanwhile, or a link that leads nowhere
    number = (os.major(seen.st_rdev), os.minor(seen.st_rdev))
    if stat.S_ISCHR(seen.st_mode) and number[0] in majors:
        found.nodes.setdefault(number, []).append(path)


def _seen(
    machine: Machine, entry: ContainerNode, numbers: dict[str, Number], found: Found, gaps: list[Gap]
) -> ContainerNode:
    what = f"container_nodes[{entry.tty}]"
    entry = replace(entry, **_process(machine), listed=listed(machine, entry.major, entry.minor))
    path = _path(entry, numbers, found)
    node: Node | UnsetType | None = None
    if path is not None:
        node, more = read_node(machine, path, f"{what}.node")
        gaps += more
    elif found.unread:
        node = UNSET
        gaps.append(Gap(what=f"{what}.node", why="denied", detail=f"{found.unread[0]} cannot be listed"))
    entry = replace(entry, node=node, **_mounted(machine, path or "/dev", path is not None))
    if path is None or not isinstance(node, Node):
        return entry
    said = machine.access(machine.path(path))
    if said in (None, "EPERM", "EACCES"):
        return replace(entry, refused=said)
    gaps.append(Gap(what=f"{what}.refused", why="failed", detail=f"access to {path}: {said}"))
    return entry


def _path(entry: ContainerNode, numbers: dict[str, Number], found: Found) -> str | None:
    """The node for this tty: by its number; by its name when that number is dead; else the only dead one left."""
    own = f"/dev/{entry.tty}"
    if same := found.nodes.get((entry.major, entry.minor)):
        return _best(same, own)
    live = set(numbers.values())
    dead = {
        path: number
        for number, paths in found.nodes.items()
        if number[0] == entry.major and number not in live
        for path in paths
    }
    if own in dead:
        return own
    loose = {path: number for path, number in dead.items() if path.removeprefix("/dev/") not in numbers}
    without = [
        tty
        for tty, number in numbers.items()
        if number[0] == entry.major and number not in found.nodes and f"/dev/{tty}" not in dead
    ]
    # With several to choose from, it would be a guess which dead node was once whose.
    return _best(list(loose), own) if len(set(loose.values())) == len(without) == 1 else None


def _best(paths: list[str], own: str) -> str:
    return min(paths, key=lambda path: (_rank(path, own), path))


def _rank(path: str, own: str) -> int:
    """A name of the container's own first, then udev's, then the kernel's."""
    if path.startswith("/dev/char/"):
        return 4
    if path == own:
        return 2
    if path.startswith("/dev/serial/"):
        return 1
    return 0 if path.startswith("/dev/") and "tty" not in path.rpartition("/")[2] else 3


def _mounts(machine: Machine) -> list[Mount] | None:
    try:
        return mounts(machine)
    except OSError:
        return None


def _mounted(machine: Machine, path: str, single: bool) -> dict[str, object]:
    """`mount`, `nodev` and `removed` of what holds a path; nothing when the mounts cannot be read."""
    every = _mounts(machine)
    real = os.path.realpath(machine.path(path))
    if machine.root != "/":
        real = "/" + os.path.relpath(real, os.path.realpath(machine.root))
    mount = over(every, real) if every is not None else None
    if mount is None:
        return {}
    alone = single and mount.point == real
    return {
        "mount": "bind" if alone else mount.kind,
        "nodev": "nodev" in mount.options,
        "removed": alone and mount.source.endswith("//deleted"),  # Linux fs/d_path.c
    }


def _process(machine: Machine) -> dict[str, object]:
    """Whose access is asked for: the effective ids and the groups of this process (proc_pid_status(5))."""
    try:
        content = machine.attribute("/proc/self/status")
    except OSError:
        content = None
    fields = {key: value for key, _, value in (line.partition(":") for line in (content or "").split("\n"))}
    uid, gid = proc.numbers(fields.get("Uid"))[1:2], proc.numbers(fields.get("Gid"))[1:2]
    if not uid or not gid:
        return {}
    return {"asked_uid": uid[0], "asked_groups": sorted({*gid, *proc.numbers(fields.get("Groups"))})}
