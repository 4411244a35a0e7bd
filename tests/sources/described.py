"""A described /proc below a folder, for sources that read processes."""

from __future__ import annotations

import os
from pathlib import Path

from radiocheck.sources import handles
from radiocheck.sources.machine import Machine, Seen


class Described:
    """A /proc that a test writes; descriptors are links to nodes below `dev`."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.file("/proc/devices", "Character devices:\n188 ttyUSB\n235 vfio\n\nBlock devices:\n  8 vfio\n")
        self.file("/proc/misc", " 60 iommu\n196 vfio\n 61 iommu-not\n")
        self.namespaces(1, "mnt:[1]")

    def file(self, path: str, text: str) -> None:
        file = Path(f"{self.root}{path}")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)

    def namespaces(self, pid: int, mount: str) -> None:
        os.makedirs(f"{self.root}/proc/{pid}/ns", exist_ok=True)
        os.symlink(mount, f"{self.root}/proc/{pid}/ns/mnt")

    def node(self, name: str, major: int, minor: int) -> str:
        path = f"{self.root}/dev/{name}"
        os.makedirs(os.path.dirname(path), exist_ok=True)
        os.mknod(path, 0o20600, os.makedev(major, minor))
        return path

    def process(
        self,
        pid: int,
        comm: str,
        *nodes: str,
        uid: int = 0,
        exe: str = "/bin/x",
        group: str = "0::/",
        levels: str = "",
        mount: str = "mnt:[1]",
    ) -> None:
        self.file(f"/proc/{pid}/comm", comm + "\n")
        self.file(f"/proc/{pid}/cgroup", group + "\n")
        self.file(f"/proc/{pid}/status", f"Name:\t{comm}\nUid:\t{uid}\t{uid}\t{uid}\t{uid}\nNSpid:\t{pid} {levels}\n")
        os.symlink(exe, f"{self.root}/proc/{pid}/exe")
        self.namespaces(pid, mount)
        os.makedirs(f"{self.root}/proc/{pid}/fd")
        for number, node in enumerate(nodes):
            os.symlink(node, f"{self.root}/proc/{pid}/fd/{number}")

    def collect(self) -> Seen:
        return handles.collect(Machine(root=str(self.root), euid=0))
