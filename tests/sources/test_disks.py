"""Block devices in use, from described mounts and swap over a umockdev testbed, and this machine's own."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.disk import Disk
from radiocheck.sources import disks
from radiocheck.sources.machine import Machine

from .umock import laid_out, needs_umockdev

SATA, XHCI = "0000:00:17.0", "0000:00:14.0"
# Forms: proc_pid_mountinfo(5), proc_swaps(5); the swap line is one of a Debian 12 bench.
MOUNTS = """\
22 1 253:0 / / rw,relatime shared:1 - ext4 /dev/mapper/gable-root rw
23 22 0:5 / /dev rw,nosuid - devtmpfs udev rw,size=1g
24 22 8:17 / /media/mira/photos rw - vfat /dev/sdb1 rw
25 22 8:17 / /media/mira/again rw - vfat /dev/sdb1 rw
26 22 0:44 / /mnt rw - nfs4 shelf:/srv rw
"""
SWAPS = "Filename\t\t\t\tType\t\tSize\t\tUsed\t\tPriority\n"


@contextlib.contextmanager
def gable(mounts: str = MOUNTS, swaps: str = SWAPS) -> Iterator[str]:
    """The testbed with what umockdev has no word for: mounts, numbers, and a volume on the SATA disk."""
    with laid_out("disks.umockdev") as root:
        proc = Path(root, "proc/self")
        proc.mkdir(parents=True)
        proc.joinpath("mountinfo").write_text(mounts)
        Path(root, "proc/swaps").write_text(swaps)
        numbers = Path(root, "sys/dev/block")
        numbers.mkdir(parents=True)
        for number, name in (("8:2", "sda2"), ("8:17", "sdb1"), ("253:0", "dm-0")):
            numbers.joinpath(number).symlink_to(os.readlink(f"{root}/sys/class/block/{name}"))
        slaves = Path(root, "sys/devices/virtual/block/dm-0/slaves")
        slaves.mkdir()
        slaves.joinpath("sda2").symlink_to(os.path.realpath(f"{root}/sys/class/block/sda2"))
        Path(root, "dev/mapper").mkdir()
        Path(root, "dev/mapper/gable-root").symlink_to("../dm-0")
        yield root


@needs_umockdev
def test_disks_with_what_is_above_them() -> None:
    """A volume is told as the partition below it; of long mount points only the first folder is kept, once."""
    with gable() as root:
        seen = disks.collect(Machine(root=root))
    assert seen.facts["disks"] == [
        Disk(name="sda2", usb=None, pci=SATA, mounts=["/"]),
        Disk(name="sdb1", usb="2-1", pci=XHCI, mounts=["/media"]),
    ]
    assert seen.gaps == ()


@needs_umockdev
def test_swap_counts() -> None:
    """A partition with swap space in use; a swap file does not, since its file system is mounted anyway."""
    swaps = f"{SWAPS}/dev/sda2  partition\t1048572\t\t0\t\t-2\n/swap\\040file  file\t524284\t\t0\t\t-3\n"
    with gable("", swaps) as root:
        assert disks.collect(Machine(root=root)).facts["disks"] == [
            Disk(name="sda2", usb=None, pci=SATA, mounts=["swap"])
        ]


@needs_umockdev
def test_btrfs_over_two_disks() -> None:
    """Its mount has a number of its own and names one device; the others stand in sysfs (fs/btrfs/sysfs.c)."""
    mounts = "22 1 0:30 /@ / rw,relatime shared:1 - btrfs /dev/sda2 rw,subvol=/@\n"
    with gable(mounts) as root:
        devices = Path(root, "sys/fs/btrfs/4d0b9c56/devices")
        devices.mkdir(parents=True)
        for name in ("sda2", "sdb1"):
            devices.joinpath(name).symlink_to(f"../../../../class/block/{name}")
        seen = disks.collect(Machine(root=root)).facts["disks"]
    assert [(disk.name, disk.mounts) for disk in seen] == [("sda2", ["/"]), ("sdb1", ["/"])]


@needs_umockdev
def test_a_pool_that_does_not_tell_its_disks() -> None:
    """With ZFS the list could not be complete, so there is none."""
    with gable(MOUNTS + "40 22 0:50 / /tank rw - zfs tank rw,xattr\n") as root:
        seen = disks.collect(Machine(root=root))
    assert "disks" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("disks[zfs]", "not-here")]


@needs_umockdev
def test_a_disk_that_is_pulled_while_it_is_read() -> None:
    """Where its link is gone, what is above it is not known."""
    with gable() as root:
        machine = Machine(root=root)
        os.unlink(f"{root}/sys/class/block/sdb1")
        told = disks.collect(machine).facts["disks"]
    assert told[1] == Disk(name="sdb1", usb=UNSET, pci=UNSET, mounts=["/media"])


def test_layers_that_go_in_circles(tmp_path: Path) -> None:
    """Links that lead back to themselves come to an end."""
    root = tmp_path
    Path(root, "proc/self").mkdir(parents=True)
    Path(root, "proc/self/mountinfo").write_text("22 1 253:0 / / rw - ext4 /dev/dm-0 rw\n")
    for path in ("sys/dev/block", "sys/class/block", "sys/devices/virtual/block/dm-0/slaves"):
        Path(root, path).mkdir(parents=True)
    Path(root, "sys/dev/block/253:0").symlink_to("../../devices/virtual/block/dm-0")
    Path(root, "sys/class/block/dm-0").symlink_to("../../devices/virtual/block/dm-0")
    Path(root, "sys/devices/virtual/block/dm-0/slaves/dm-0").symlink_to("../../dm-0")
    assert disks.collect(Machine(root=str(root))).facts["disks"] == [
        Disk(name="dm-0", usb=None, pci=None, mounts=["/"])
    ]


def test_without_proc_nobody_could_look(tmp_path: Path) -> None:
    """No /proc: the field is absent and a gap says why."""
    seen = disks.collect(Machine(root=str(tmp_path)))
    assert "disks" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("disks", "not-here")]


def test_this_machine() -> None:
    """The kernel's own files: every disk that is told is a block device, and is used somewhere."""
    seen = disks.collect(Machine())
    for disk in seen.facts.get("disks", []):
        assert os.path.lexists(f"/sys/class/block/{disk.name}")
        assert disk.mounts
    assert "disks" in seen.facts or seen.gaps
