"""What a container is given of the kernel's USB ttys: real nodes, real mounts, described sysfs."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.container import ContainerNode
from radiocheck.evidence.serial import Node
from radiocheck.sources import container
from radiocheck.sources.machine import Machine, Seen

from .isolated import isolated
from .umock import laid_out, needs_umockdev

BED = "captured-linux-6.1.umockdev"  # ttyUSB0 188:0, ttyUSB1 188:1, ttyACM0 166:0
pytestmark = [
    needs_umockdev,
    pytest.mark.skipif(os.geteuid() != 0, reason="only root may make device nodes"),
]


class Inside:
    """A container's root folder: the kernel's sysfs, and a /dev that a test fills with real nodes."""

    def __init__(self, root: str) -> None:
        self.root = root
        shutil.rmtree(f"{root}/dev")
        os.mkdir(f"{root}/dev")
        self.file("/run/systemd/container", "systemd-nspawn\n")
        self.file("/proc/self/status", "Name:\tx\nUid:\t0\t1000\t0\t0\nGid:\t0\t1000\t0\t0\nGroups:\t20 27 \n")
        self.file("/proc/self/mountinfo", "1 0 8:1 / / rw - ext4 x rw\n2 1 0:40 / /dev rw,nosuid - tmpfs x rw\n")

    def file(self, path: str, text: str) -> None:
        file = Path(f"{self.root}{path}")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)

    def node(self, path: str, major: int, minor: int) -> None:
        path = f"{self.root}{path}"
        os.makedirs(os.path.dirname(path), exist_ok=True)
        try:
            os.mknod(path, 0o20660, os.makedev(major, minor))
        except PermissionError:
            pytest.skip("device nodes cannot be made here")
        os.chmod(path, 0o660)
        os.chown(path, 0, 20)

    def link(self, path: str, target: str) -> None:
        os.makedirs(os.path.dirname(f"{self.root}{path}"), exist_ok=True)
        os.symlink(target, f"{self.root}{path}")

    def collect(self, access: Callable[[str], str | None] = lambda path: None) -> Seen:
        return container.collect(Machine(root=self.root, access=access))

    def of(self, tty: str, access: Callable[[str], str | None] = lambda path: None) -> ContainerNode:
        found: ContainerNode = next(one for one in self.collect(access).facts["container_nodes"] if one.tty == tty)
        return found


@pytest.fixture
def inside() -> Iterator[Inside]:
    """A container on a machine with three USB ttys, and nothing in its /dev."""
    with laid_out(BED) as root:
        yield Inside(root)


def path(entry: ContainerNode) -> str | None:
    """Where its node is."""
    return entry.node.path if isinstance(entry.node, Node) else None


def test_outside_of_containers_nothing_is_looked_at(inside: Inside) -> None:
    """Without a mark and with a booted systemd there is no container, and the field stays absent."""
    shutil.rmtree(f"{inside.root}/run")
    os.makedirs(f"{inside.root}/run/systemd/system")
    assert inside.collect() == Seen()


def test_every_usb_tty_of_the_kernel_has_its_entry(inside: Inside) -> None:
    """sysfs shows a container all of them with the kernel's numbers; without a node each is null."""
    seen = inside.collect()
    entries = [(one.tty, one.major, one.minor, one.node, one.mount) for one in seen.facts["container_nodes"]]
    assert entries == [
        ("ttyACM0", 166, 0, None, "tmpfs"),
        ("ttyUSB0", 188, 0, None, "tmpfs"),
        ("ttyUSB1", 188, 1, None, "tmpfs"),
    ]
    assert seen.gaps == ()


def test_a_node_with_its_rights(inside: Inside) -> None:
    """Number, mode and numeric group are those of stat(2); the asking process is that of /proc/self/status."""
    inside.node("/dev/ttyUSB0", 188, 0)
    entry = inside.of("ttyUSB0")
    assert isinstance(entry.node, Node)
    assert (entry.node.path, entry.node.major, entry.node.minor) == ("/dev/ttyUSB0", 188, 0)
    assert (entry.node.mode, entry.node.gid) == (0o660, 20)
    assert (entry.refused, entry.nodev, entry.removed) == (None, False, False)
    assert (entry.asked_uid, entry.asked_groups) == (1000, [20, 27, 1000])


@pytest.mark.parametrize(
    ("nodes", "best"),
    [
        (["/dev/ttyUSB0", "/dev/radio"], "/dev/radio"),
        (["/dev/ttyUSB0", "/dev/serial/by-id/x"], "/dev/serial/by-id/x"),
        (["/dev/ttyUSB0", "/dev/ttyS9"], "/dev/ttyUSB0"),
        (["/dev/deep/er/radio"], "/dev/deep/er/radio"),
    ],
)
def test_a_node_counts_under_any_name(inside: Inside, nodes: list[str], best: str) -> None:
    """The number makes it the adapter's; a name of its own goes before the kernel's."""
    for one in nodes:
        inside.node(one, 188, 0)
    assert path(inside.of("ttyUSB0")) == best


def test_a_link_to_its_node_counts_as_a_name(inside: Inside) -> None:
    """Names under /dev/serial are links; those under /dev/char are numbers and come last."""
    inside.node("/dev/ttyACM0", 166, 0)
    inside.link("/dev/char/166:0", "../ttyACM0")
    inside.link("/dev/stale", "nowhere")
    assert path(inside.of("ttyACM0")) == "/dev/ttyACM0"
    inside.link("/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3-if00", "../../ttyACM0")
    assert path(inside.of("ttyACM0")) == "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3-if00"


def test_a_node_of_its_name_with_a_dead_number(inside: Inside) -> None:
    """A number that no tty of the kernel has now is one of an older plug-in (github.com/moby/moby/issues/35359)."""
    inside.node("/dev/ttyUSB0", 188, 7)
    entry = inside.of("ttyUSB0")
    assert isinstance(entry.node, Node)
    assert (entry.node.path, entry.minor, entry.node.minor) == ("/dev/ttyUSB0", 0, 7)


def test_the_only_dead_node_is_that_of_the_only_tty_without_one(inside: Inside) -> None:
    """ttyACM0 is the only one of its kind without a node, and /dev/radio the only node whose number is dead."""
    inside.node("/dev/radio", 166, 3)
    assert path(inside.of("ttyACM0")) == "/dev/radio"


def test_with_several_to_choose_from_no_node_is_guessed(inside: Inside) -> None:
    """ttyUSB0 and ttyUSB1 are both without a node: whose the dead one once was does not show."""
    inside.node("/dev/radio", 188, 7)
    assert (path(inside.of("ttyUSB0")), path(inside.of("ttyUSB1"))) == (None, None)
    inside.node("/dev/ttyUSB0", 188, 0)
    assert path(inside.of("ttyUSB1")) == "/dev/radio"


def test_the_name_with_the_number_of_another_tty_is_no_node_of_it(inside: Inside) -> None:
    """A container may be given ttyUSB1 under the name of ttyUSB0."""
    inside.node("/dev/ttyUSB0", 188, 1)
    assert (path(inside.of("ttyUSB0")), path(inside.of("ttyUSB1"))) == (None, "/dev/ttyUSB0")


@pytest.mark.parametrize("said", ["EPERM", "EACCES"])
def test_what_the_kernel_says_is_kept(inside: Inside, said: str) -> None:
    """Device list and mode are told apart by the errno (Linux fs/namei.c, inode_permission())."""
    inside.node("/dev/ttyUSB0", 188, 0)
    assert inside.of("ttyUSB0", lambda path: said).refused == said


def test_another_error_is_a_gap(inside: Inside) -> None:
    """Where the kernel cannot be asked, nobody looked."""
    inside.node("/dev/ttyUSB0", 188, 0)
    assert inside.of("ttyUSB0", lambda path: "ENOSYS").refused is UNSET
    gaps = [(gap.what, gap.why) for gap in inside.collect(lambda path: "ENOSYS").gaps]
    assert gaps == [("container_nodes[ttyUSB0].refused", "failed")]


@pytest.mark.parametrize(
    ("source", "options", "expect"),
    [
        ("/ttyUSB0", "rw", ("bind", False, False)),
        ("/ttyUSB0//deleted", "rw", ("bind", False, True)),
        ("/ttyUSB0", "rw,nodev", ("bind", True, False)),
    ],
)
def test_a_node_that_is_mounted_by_itself(
    inside: Inside, source: str, options: str, expect: tuple[str, bool, bool]
) -> None:
    """The mount shows where it came from, whether it is still there, and its options (proc_pid_mountinfo(5))."""
    inside.node("/dev/ttyUSB0", 188, 0)
    line = f"3 2 0:6 {source} /dev/ttyUSB0 {options} - devtmpfs udev rw\n"
    inside.file("/proc/self/mountinfo", f"1 0 8:1 / / rw - ext4 x rw\n2 1 0:40 / /dev rw - tmpfs x rw\n{line}")
    entry = inside.of("ttyUSB0")
    assert (entry.mount, entry.nodev, entry.removed) == expect
    assert inside.of("ttyUSB1").mount == "tmpfs"


def test_a_device_mount_outside_of_dev_is_looked_through(inside: Inside) -> None:
    """The machine's /dev may be mounted elsewhere, and a single node anywhere; other tmpfs folders are left alone."""
    inside.node("/host/dev/ttyUSB0", 188, 0)
    inside.node("/radio", 188, 1)
    inside.node("/tmp/ttyACM0", 166, 0)
    lines = (
        "2 1 0:6 / /host/dev rw - devtmpfs udev rw",
        "3 1 0:6 /x /radio rw - tmpfs x rw",
        "4 1 0:7 / /tmp rw - tmpfs x rw",
    )
    inside.file("/proc/self/mountinfo", "1 0 8:1 / / rw - ext4 x rw\n" + "\n".join(lines) + "\n")
    paths = [path(one) for one in inside.collect().facts["container_nodes"]]
    assert paths == [None, "/host/dev/ttyUSB0", "/radio"]


def test_no_mounts_to_read(inside: Inside) -> None:
    """The node is told all the same; what its mount is, nobody looked."""
    inside.node("/dev/ttyUSB0", 188, 0)
    os.unlink(f"{inside.root}/proc/self/mountinfo")
    entry = inside.of("ttyUSB0")
    assert path(entry) == "/dev/ttyUSB0"
    assert (entry.mount, entry.nodev, entry.removed) == (UNSET, UNSET, UNSET)


def test_a_folder_that_cannot_be_listed_leaves_the_node_open(inside: Inside) -> None:
    """A node may be in there, so `none` would be a guess; what was found elsewhere stays found."""

    class Refusing(Machine):
        def names(self, path: str) -> list[str]:
            if path == "/dev/closed":
                raise PermissionError(13, "Permission denied")
            return super().names(path)

    inside.node("/dev/ttyUSB0", 188, 0)
    os.mkdir(f"{inside.root}/dev/closed")
    seen = container.collect(Refusing(root=inside.root, access=lambda path: None))
    nodes = {one.tty: one.node for one in seen.facts["container_nodes"]}
    assert isinstance(nodes["ttyUSB0"], Node)
    assert (nodes["ttyUSB1"], nodes["ttyACM0"]) == (UNSET, UNSET)
    assert {(gap.what, gap.why) for gap in seen.gaps} == {
        ("container_nodes[ttyUSB1].node", "denied"),
        ("container_nodes[ttyACM0].node", "denied"),
    }


def test_a_dev_without_end_is_given_up(inside: Inside) -> None:
    """The walk is bounded; a list that is not complete is absent."""

    class Endless(Machine):
        def names(self, path: str) -> list[str]:
            return [f"x{number}" for number in range(30_000)] if path == "/dev" else super().names(path)

    seen = container.collect(Endless(root=inside.root))
    assert seen.facts == {}
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("container_nodes", "failed")]


def test_a_tty_that_left_is_left_out(inside: Inside) -> None:
    """Its folder in sysfs is empty by then."""
    os.unlink(os.path.realpath(f"{inside.root}/sys/class/tty/ttyUSB1") + "/dev")
    assert [one.tty for one in inside.collect().facts["container_nodes"]] == ["ttyACM0", "ttyUSB0"]


_LOOK = """
import sys, msgspec
from radiocheck.sources import container
from radiocheck.sources.machine import Machine
sys.stdout.buffer.write(msgspec.json.encode(container.collect(Machine()).facts["container_nodes"]))
"""


def really(folder: Path, script: str) -> dict[str, ContainerNode]:
    """The entries by tty, from a mount namespace with its own /dev and /run; `script` fills its /dev."""
    with laid_out(BED) as root:
        shutil.copytree(f"{root}/sys", folder / "sys", symlinks=True)  # its own place may be below the hidden /dev
        out = isolated(
            f"mount --rbind {folder}/sys /sys\nmkdir -p /run/systemd\necho systemd-nspawn >/run/systemd/container\n"
            f"{script}\n{sys.executable} -c '{_LOOK.replace(chr(39), chr(34))}'"
        )
    return {one.tty: one for one in msgspec.json.decode(out, type=list[ContainerNode])}


def test_a_real_mount_namespace(tmp_path: Path) -> None:
    """The running kernel: a right node, one with an old number, one on a nodev mount, and nothing else."""
    seen = really(
        tmp_path,
        "mknod -m 660 /dev/radio c 188 0; chgrp 20 /dev/radio\n"
        "mknod /dev/ttyACM0 c 166 5\n"
        "mkdir /dev/volume; mount -t tmpfs -o nodev none /dev/volume; mknod /dev/volume/radio c 188 1",
    )
    right, old, volume = seen["ttyUSB0"], seen["ttyACM0"], seen["ttyUSB1"]
    assert isinstance(right.node, Node)
    assert (right.node.path, right.node.gid, right.node.mode) == ("/dev/radio", 20, 0o660)
    assert (right.refused, right.nodev, right.removed) == (None, False, False)
    assert isinstance(old.node, Node)
    assert (old.node.path, old.minor, old.node.minor) == ("/dev/ttyACM0", 0, 5)
    assert (path(volume), volume.nodev, volume.mount) == ("/dev/volume/radio", True, "tmpfs")
    assert right.asked_uid == os.geteuid()


def test_a_real_single_mount_whose_node_was_removed(tmp_path: Path) -> None:
    """What is mounted by itself outlives its removal; the kernel marks the mount (fs/d_path.c)."""
    entry = really(
        tmp_path,
        "mknod -m 660 /run/outside c 188 0; touch /dev/ttyUSB0\n"
        "mount --bind /run/outside /dev/ttyUSB0; rm /run/outside",
    )["ttyUSB0"]
    assert (path(entry), entry.mount, entry.removed) == ("/dev/ttyUSB0", "bind", True)
