"""The mounts that this process sees: /proc/self/mountinfo (proc_pid_mountinfo(5))."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from .machine import Machine

_ESCAPE = re.compile(r"\\([0-7]{3})")  # blanks and the like, in octal


class Mount(NamedTuple):
    """One mount."""

    source: str  # path within the file system that is shown; `//deleted` behind it: removed since
    point: str
    kind: str  # file system: devtmpfs, tmpfs, cgroup
    options: tuple[str, ...]  # of this mount: nodev, ro …
    super_options: tuple[str, ...]  # of the file system: controllers of a cgroup
    device: str = ""  # major:minor; 0:N for what lies on no block device, or on several
    origin: str = ""  # what was mounted: a node, or a word such as tmpfs


def mounts(machine: Machine) -> list[Mount]:
    """All of them, in the order they were made.  Raises `OSError`."""
    found = []
    for line in machine.read("/proc/self/mountinfo").split("\n"):
        own, dash, system = line.partition(" - ")
        fields, more = own.split(" "), system.split(" ")
        if dash and len(fields) >= 6 and len(more) >= 3:
            options = tuple(fields[5].split(",")), tuple(more[2].split(","))
            found.append(
                Mount(plain(fields[3]), plain(fields[4]), more[0], *options, device=fields[2], origin=plain(more[1]))
            )
    return found


def over(every: Sequence[Mount], path: str) -> Mount | None:
    """The mount that holds a path without links: the deepest, and of several at one place the newest."""
    best = None
    for mount in every:
        inside = path == mount.point or path.startswith(mount.point.rstrip("/") + "/")
        if inside and (best is None or len(mount.point) >= len(best.point)):
            best = mount
    return best


def plain(text: str) -> str:
    """A path of mountinfo or swaps as it is."""
    return _ESCAPE.sub(lambda match: chr(int(match.group(1), 8)), text)
