"""The device list of a version 1 control group; version 2 has a program in its place, which shows no list.

Linux Documentation/admin-guide/cgroup-v1/devices.rst: lines of type (a, c, b), numbers
with `*` for any, and rights (r, w, m).
"""

from __future__ import annotations

from radiocheck.evidence.absent import UNSET, UnsetType

from .machine import Machine
from .mounts import mounts


def listed(machine: Machine, major: int, minor: int) -> bool | UnsetType | None:
    """Whether this process's list lets a character device be read and written; None: there is no list to read."""
    try:
        file = _file(machine)
        text = machine.attribute(file) if file is not None else None
    except OSError:
        return UNSET
    if text is None:
        return None
    return any(_covers(line.split(), major, minor) for line in text.split("\n"))


def _file(machine: Machine) -> str | None:
    """Where the list of this process's group is, as the container has the group tree mounted (cgroups(7))."""
    rows = [line.split(":", 2) for line in (machine.attribute("/proc/self/cgroup") or "").split("\n")]
    own = next((row[2] for row in rows if len(row) == 3 and "devices" in row[1].split(",")), None)
    for mount in mounts(machine) if own is not None else []:
        if own is not None and mount.kind == "cgroup" and "devices" in mount.super_options:
            below = own.removeprefix(mount.source.rstrip("/")) if own.startswith(mount.source) else ""
            return f"{mount.point}{below.rstrip('/')}/devices.list"
    return None


def _covers(words: list[str], major: int, minor: int) -> bool:
    if len(words) != 3 or words[0] not in ("a", "c"):
        return False
    numbers = words[1].split(":")
    wanted = (str(major), str(minor))
    return (
        len(numbers) == 2
        and all(one in ("*", number) for one, number in zip(numbers, wanted, strict=True))
        and {"r", "w"} <= set(words[2])
    )
