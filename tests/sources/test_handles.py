"""Holders of nodes: real processes that hold real nodes, and a described /proc."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec
import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.serial import Handle, Handles
from radiocheck.sources import handles
from radiocheck.sources.handles import collect
from radiocheck.sources.machine import Machine, Seen

from .described import Described
from .umock import REPOSITORY

needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root makes device nodes")

KERNEL_THREAD = 0x00200000  # PF_KTHREAD, Linux include/linux/sched.h


@pytest.fixture
def described(tmp_path: Path) -> Described:
    return Described(tmp_path)


def found(seen: Seen) -> list[Handle]:
    handles: Handles = seen.facts["handles"]
    return handles.open


@contextmanager
def holder(node: Path, *argv: str, executable: str | None = None) -> Iterator[int]:
    """A running process that has a node open without having woken its driver (open(2), O_PATH)."""
    descriptor = os.open(node, os.O_PATH)
    running = subprocess.Popen(argv or ["sleep", "60"], pass_fds=[descriptor], executable=executable)
    os.close(descriptor)
    try:
        yield running.pid
    finally:
        running.kill()
        running.wait()


@pytest.fixture
def node(tmp_path: Path) -> Path:
    """A node with a number of a USB tty that no machine has."""
    path = tmp_path / "ttyUSB250"
    os.mknod(path, 0o20600, os.makedev(188, 250))
    return path


def held_by(pid: int, seen: Seen) -> list[Handle]:
    return [handle for handle in found(seen) if handle.pid == pid]


@needs_root
def test_a_process_that_holds_a_usb_tty_is_found(node: Path) -> None:
    """Live: pid, command, account and node of a real process."""
    with holder(node) as pid:
        (handle,) = held_by(pid, collect(Machine()))
    assert (handle.command, handle.uid, handle.user) == ("sleep", 0, "root")
    assert (handle.path, handle.major, handle.minor, handle.deleted) == (str(node), 188, 250, False)
    assert (handle.hypervisor, handle.container) == (False, False)


@needs_root
def test_a_node_that_is_gone_is_still_found_by_its_number(node: Path) -> None:
    """Live: the kernel marks the link of an unlinked node (fs/d_path.c), and the mark is taken off."""
    with holder(node) as pid:
        node.unlink()
        (handle,) = held_by(pid, collect(Machine()))
    assert (handle.path, handle.deleted, handle.minor) == (str(node), True, 250)


@needs_root
def test_a_hypervisor_is_known_by_its_program_file(node: Path, tmp_path: Path) -> None:
    """Live: the file says it, whatever the process calls itself; a replaced file too (package update)."""
    program = tmp_path / "qemu-system-x86_64"
    shutil.copy(shutil.which("sleep") or "sleep", program)
    (tmp_path / "hearth").symlink_to(program)  # the command name then is the link's, as after -name …,process=hearth
    with holder(node, "sleep", "60", executable=str(tmp_path / "hearth")) as pid:
        assert [handle.hypervisor for handle in held_by(pid, collect(Machine()))] == [True]
        program.unlink()
        (handle,) = held_by(pid, collect(Machine()))
    assert handle.hypervisor is True
    assert handle.command == "hearth"


@needs_root
def test_a_process_in_a_container_is_marked(node: Path) -> None:
    """Live: a process namespace of its own says so (proc(5), NSpid)."""
    argv = ["unshare", "--pid", "--mount", "--fork", "--kill-child"]
    if subprocess.run([*argv, "true"], capture_output=True, check=False).returncode:
        pytest.skip("namespaces are not allowed here")
    with holder(node, *argv, "sleep", "60") as outer:
        for _ in range(200):
            inside = {handle.command: handle.container for handle in found(collect(Machine())) if handle.minor == 250}
            if "sleep" in inside:
                break
            time.sleep(0.02)
        children = Path(f"/proc/{outer}/task/{outer}/children").read_text().split()
    assert children
    assert inside["sleep"] is True


def test_the_processes_of_this_machine_are_read_without_an_error() -> None:
    """Live: whatever runs here, the record can be saved."""
    seen = collect(Machine())
    assert msgspec.json.decode(msgspec.json.encode(seen.facts["handles"]), type=Handles) == seen.facts["handles"]


@needs_root
def test_without_root_the_unread_processes_are_counted_and_a_gap_says_so() -> None:
    """Live, as nobody: reference is ps(1), which tells the kernel's threads (children of process 2)."""
    code = (
        "import os, sys, subprocess, msgspec\n"
        "import radiocheck.sources.handles as handles\n"
        "from radiocheck.sources.machine import Machine\n"
        "os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "ps = subprocess.run(['ps', '-N', '--ppid', '2', '-p', '2', '-o', 'uid='], capture_output=True, text=True)\n"
        "seen = handles.collect(Machine())\n"
        "print(msgspec.json.encode([seen.facts['handles'], seen.gaps, ps.stdout.split()]).decode())\n"
    )
    if shutil.which("ps") is None:
        pytest.skip("ps is absent (Debian package procps)")
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True, text=True, check=True, env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
    )  # fmt: skip
    record, gaps, owners = msgspec.json.decode(done.stdout)
    others = len([uid for uid in owners if uid != "65534"])
    assert others > 0
    assert abs(record["unread"] - others) <= 8  # processes come and go between the two looks
    assert gaps[0]["what"] == "handles"
    assert gaps[0]["why"] == "denied"
    assert gaps[0]["provide"] == "run as root"
    assert str(record["unread"]) in gaps[0]["detail"]


@needs_root
def test_only_usb_and_vfio_nodes_count(described: Described) -> None:
    """VFIO's number is the one in /proc/devices; /dev/vfio/vfio and /dev/iommu are in /proc/misc."""
    nodes = [
        described.node("ttyUSB0", 188, 0),
        described.node("ttyACM0", 166, 0),
        described.node("bus/usb/001/005", 189, 4),
        described.node("vfio/4", 235, 0),
        described.node("vfio/vfio", 10, 196),
        described.node("iommu", 10, 60),
        described.node("hpet", 10, 61),
        described.node("ttyS0", 4, 64),
        described.node("hvc0", 229, 0),
        described.node("other", 8, 0),
    ]
    described.process(7, "qemu-system-x86", *nodes, "socket:[77]", "pipe:[3]", "/nonexistent")
    assert [(one.major, one.minor) for one in found(described.collect())] == [
        (188, 0), (166, 0), (189, 4), (235, 0), (10, 196), (10, 60),
    ]  # fmt: skip


@needs_root
def test_a_node_that_is_held_twice_by_one_process_is_one_handle(described: Described) -> None:
    """Two descriptors of one node, and the same node under another path."""
    node, other = described.node("ttyUSB0", 188, 0), described.node("radio", 188, 0)
    described.process(7, "reader", node, node, other)
    assert [one.path for one in found(described.collect())] == [node, other]


@needs_root
@pytest.mark.parametrize(
    ("comm", "exe", "expected"),
    [
        ("qemu-system-x86", "/usr/bin/qemu-system-x86_64", True),
        ("kvm", "/usr/bin/x", True),
        (".qemu-system-x8", "/store/bin/.qemu-system-x86_64-wrapped", True),
        ("CPU 0/KVM", "/usr/libexec/qemu-kvm", True),
        ("kvm-helper", "/usr/bin/kvm-helper", False),
        ("ser2net", "/usr/sbin/ser2net", False),
    ],
)
def test_hypervisors_are_told_from_other_programs(described: Described, comm: str, exe: str, expected: bool) -> None:
    """By command name or program file."""
    described.process(7, comm, described.node("bus/usb/001/005", 189, 4), exe=exe)
    assert found(described.collect())[0].hypervisor is expected


@needs_root
@pytest.mark.parametrize(
    ("group", "levels", "mount", "comm", "expected"),
    [
        ("0::/system.slice/bridge.service", "", "mnt:[1]", "bridge", False),
        ("0::/system.slice/bridge.service", "", "mnt:[2]", "bridge", False),  # PrivateTmp= and the like
        (
            "0::/machine.slice/machine-qemu\\x2d1\\x2dhearth.scope/libvirt/emulator",
            "",
            "mnt:[2]",
            "qemu-system-x86",
            False,
        ),
        ("0::/system.slice/docker-0a1b.scope", "1", "mnt:[2]", "bridge", True),
        ("0::/system.slice/docker-0a1b.scope", "", "mnt:[2]", "bridge", True),  # shares the host's process numbers
        ("0::/lxc/attic", "1", "mnt:[2]", "bridge", True),
        ("0::/", "", "mnt:[2]", "bridge", UNSET),
    ],
)
def test_a_sandboxed_service_is_no_container(
    described: Described, group: str, levels: str, mount: str, comm: str, expected: object
) -> None:
    """A mount namespace alone does not make a container: services and libvirt's VMs have one too."""
    described.process(7, comm, described.node("ttyUSB0", 188, 0), group=group, levels=levels, mount=mount)
    assert found(described.collect())[0].container is expected


@needs_root
def test_the_unit_is_read_from_either_kind_of_control_groups(described: Described) -> None:
    """Version 2 has one line, version 1 names systemd's tree (cgroups(7))."""
    node = described.node("ttyUSB0", 188, 0)
    described.process(7, "a", node, group="0::/system.slice/a.service")
    described.process(8, "b", node, group="8:devices:/x\n1:name=systemd:/system.slice/b.service\n0::/")
    described.process(9, "c", node, group="nonsense")
    assert [one.unit for one in found(described.collect())] == ["a.service", "b.service", UNSET]


@needs_root
def test_files_of_remote_file_systems_are_not_touched(described: Described) -> None:
    """Their server may be gone, and to ask for a file's status would then never end."""
    far, near = described.node("far away/ttyUSB1", 188, 1), described.node("ttyUSB0", 188, 0)
    described.process(7, "reader", far, near)
    point = os.path.dirname(far).replace(" ", "\\040")  # proc(5): blanks are written in octal
    mounts = f"22 1 0:5 / /dev rw - devtmpfs d rw\n36 35 98:0 / {point} rw,noatime shared:1 - nfs4 host:/ rw\n"
    described.file("/proc/7/mountinfo", mounts)
    assert [one.path for one in found(described.collect())] == [near]


@needs_root
def test_names_that_processes_choose_are_kept_but_can_be_saved(described: Described) -> None:
    """A hostile command name and an undecodable path; reports escape what is left."""
    node = described.node("ttyUSB0", 188, 0)
    strange = os.fsencode(node) + b"\xff\x1b[2J"
    os.link(node, strange)
    described.process(7, "x\n\x1b[31mroot", os.fsdecode(strange))
    (handle,) = found(described.collect())
    assert handle.command == "x\n\x1b[31mroot"
    assert handle.path.endswith("ttyUSB0\ufffd\x1b[2J")
    assert msgspec.json.encode(handle)


@needs_root
def test_a_process_that_leaves_while_it_is_read_costs_nothing(described: Described) -> None:
    """Its files vanish after its descriptors were listed: what is known of it stays."""
    described.process(7, "reader", described.node("ttyUSB0", 188, 0))
    shutil.rmtree(described.root / "proc/7/ns")
    for name in ("comm", "status", "cgroup", "exe"):
        (described.root / "proc/7" / name).unlink()
    (handle,) = found(described.collect())
    assert (handle.pid, handle.command, handle.uid, handle.unit, handle.hypervisor) == (7, "", UNSET, UNSET, UNSET)


def test_kernel_threads_are_not_counted_as_unread(described: Described, monkeypatch: pytest.MonkeyPatch) -> None:
    """They refuse too, but hold no files."""

    def refuse(*_: object) -> None:
        raise PermissionError

    described.file("/proc/2/stat", f"2 (k) 1) S 0 0 0 0 -1 {KERNEL_THREAD} " + "0 " * 40)
    described.file("/proc/3/stat", "3 (a) b) c) S 1 3 3 0 -1 4194560 " + "0 " * 40)
    described.file("/proc/4/comm", "hidden\n")  # hidepid=1: not even its stat can be read
    monkeypatch.setattr(handles, "_held", refuse)  # root, who runs this in CI, is refused nothing
    assert described.collect().facts["handles"].unread == 3  # 1, 3 and 4


def test_hidden_processes_leave_a_gap_and_count(tmp_path: Path) -> None:
    """With hidepid=2 others' processes do not even show (Linux Documentation/filesystems/proc.rst)."""
    described = Described(tmp_path)
    described.file("/proc/self/mountinfo", "21 1 0:4 / /proc rw,nosuid - proc proc rw,hidepid=invisible\n")
    seen = collect(Machine(root=str(tmp_path), euid=1000))
    assert seen.facts["handles"].unread == 1
    assert [(gap.what, gap.why, gap.provide) for gap in seen.gaps] == [("handles", "denied", "run as root")]
    assert described.collect().gaps == ()  # root sees them all the same


def test_without_proc_the_holders_are_absent(tmp_path: Path) -> None:
    """Could not look, so no list."""
    seen = collect(Machine(root=str(tmp_path)))
    assert seen.facts == {}
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("handles", "not-here")]


@needs_root
def test_inside_a_process_namespace_a_gap_says_that_the_rest_is_out_of_sight() -> None:
    """Live: in a container only its own processes show."""
    code = (
        "import msgspec\nfrom radiocheck.sources.handles import collect\n"
        "from radiocheck.sources.machine import Machine\n"
        "seen = collect(Machine())\n"
        "print(msgspec.json.encode([seen.facts['handles'].unread, seen.gaps]).decode())\n"
    )
    argv = ["unshare", "--pid", "--mount-proc", "--fork"]
    if subprocess.run([*argv, "true"], capture_output=True, check=False).returncode:
        pytest.skip("namespaces are not allowed here")
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY)}
    done = subprocess.run([*argv, sys.executable, "-c", code], capture_output=True, check=True, env=environment)
    unread, gaps = msgspec.json.decode(done.stdout)
    assert unread == 1
    assert [(gap["what"], gap["why"]) for gap in gaps] == [("handles", "not-here")]
