"""The mounts of a process, from invented lines and from this machine's own."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from radiocheck.sources.machine import Machine
from radiocheck.sources.mounts import Mount, mounts, over

# Form: proc_pid_mountinfo(5)
LINES = r"""22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
30 22 0:40 / /dev rw,nosuid - tmpfs tmpfs rw,size=65536k,mode=755
31 30 0:6 /ttyUSB0//deleted /dev/radio rw,nosuid,noexec - devtmpfs udev rw
32 22 0:30 /lxc/hearth /sys/fs/cgroup/devices ro,nosuid shared:4 master:2 - cgroup cgroup rw,devices
33 22 0:41 / /mnt/a\040b\134c rw,nodev - tmpfs none rw
broken line
34 22 0:42 / /dev rw - tmpfs newer rw
"""


def described(root: Path) -> list[Mount]:
    """Those lines, read."""
    file = root / "proc/self/mountinfo"
    file.parent.mkdir(parents=True)
    file.write_text(LINES)
    return mounts(Machine(root=str(root)))


def test_the_fields(tmp_path: Path) -> None:
    """Root, mount point, file system, both kinds of options; optional fields and octal escapes as in the manual."""
    every = described(tmp_path)
    assert len(every) == 6
    assert every[2] == Mount(
        "/ttyUSB0//deleted", "/dev/radio", "devtmpfs", ("rw", "nosuid", "noexec"), ("rw",), "0:6", "udev"
    )
    assert every[3].super_options == ("rw", "devices")
    assert (every[4].point, "nodev" in every[4].options) == ("/mnt/a b\\c", True)


@pytest.mark.parametrize(
    ("path", "point"),
    [("/dev/radio", "/dev/radio"), ("/device", "/"), ("/", "/"), ("/mnt/a b\\c/x", "/mnt/a b\\c")],
)
def test_the_mount_over_a_path(tmp_path: Path, path: str, point: str) -> None:
    """The deepest mount point above it, by whole parts of the path."""
    mount = over(described(tmp_path), path)
    assert mount is not None
    assert mount.point == point


def test_the_newest_of_several_at_one_place(tmp_path: Path) -> None:
    """What was mounted last hides what is below it."""
    every = described(tmp_path)
    mount = over(every, "/dev/ttyUSB0")
    assert mount is every[5]


def test_this_machine() -> None:
    """The kernel's own lines: one mount is over /proc, and its kind is proc."""
    mount = over(mounts(Machine()), f"/proc/{os.getpid()}")
    assert mount is not None
    assert (mount.point, mount.kind) == ("/proc", "proc")


def test_no_mounts_to_read(tmp_path: Path) -> None:
    """Without /proc there is no list, and none is made up."""
    with pytest.raises(FileNotFoundError):
        mounts(Machine(root=str(tmp_path)))
