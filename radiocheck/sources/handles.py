"""Who holds USB ttys, USB nodes and VFIO nodes open, by the descriptors in /proc/PID/fd.

Nodes are told apart by their device number, not by their path: a container sees the same
node under a path of its own, and a node that was unplugged and came back has no path left.
"""

from __future__ import annotations

import os
import re
import stat
from typing import NamedTuple

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import Handle, Handles

from . import proc
from .accounts import user_name
from .machine import Machine, Seen, decoded, refused

# Linux Documentation/admin-guide/devices.txt: ttyUSB 188, ttyACM 166; include/linux/usb.h: USB_DEVICE_MAJOR 189
MAJORS = frozenset({188, 166, 189})
DRIVERS = ("ttyUSB", "ttyACM", "usb_device", "vfio", "vfio-dev")  # as in /proc/devices; VFIO's numbers are dynamic
MISC_MAJOR = 10  # Linux include/uapi/linux/major.h
MISC = ("vfio", "iommu")  # as in /proc/misc: /dev/vfio/vfio and /dev/iommu
VFIO_MINOR = 196  # Linux include/linux/miscdevice.h

_DELETED = " (deleted)"  # Linux fs/d_path.c
# Reading the status of a file whose server or daemon is gone can take for ever; devices do not live there.
_REMOTE = frozenset("9p afs ceph cifs coda fuse fuseblk gfs2 lustre ncpfs nfs nfs4 ocfs2 smb3 virtiofs".split())
_HYPERVISORS = ("qemu-system", "qemu-kvm")
_HYPERVISORS_WHOLE = frozenset({"kvm", "qemu", "cloud-hypervisor", "crosvm"})
# Folders and units that container engines give their processes in the control group tree (from memory)
_CONTAINER_GROUPS = (
    *("/docker/", "/docker-", "/libpod-", "/crio-", "/cri-containerd-"),
    *("/lxc/", "/lxc.payload", "/kubepods"),
)


Held = dict[tuple[str, int], None]  # link text and st_rdev of each wanted node, in order


class Wanted(NamedTuple):
    """The device numbers that matter."""

    majors: frozenset[int]
    misc: frozenset[int]  # minors of the misc major

    def has(self, number: int) -> bool:
        """Whether the device number `number` (st_rdev) is one of them."""
        major = os.major(number)
        return major in self.majors or (major == MISC_MAJOR and os.minor(number) in self.misc)


def collect(machine: Machine) -> Seen:
    """`handles`: all holders that could be seen, and how many processes could not be looked into."""
    try:
        pids = proc.pids(machine)
    except OSError as error:
        return Seen({}, (refused("handles", error),))
    if not pids:
        return Seen({}, (Gap(what="handles", why="not-here", detail="/proc shows no process"),))
    wanted = _wanted(machine)
    remote: dict[str, tuple[str, ...]] = {}
    found: list[Handle] = []
    unread = 0
    for pid in pids:
        try:
            held = _held(machine, pid, wanted, remote)
        except PermissionError:
            unread += not proc.kernel_thread(machine, pid)
            continue
        if held:
            found += _handles(machine, pid, held)
    gaps = []
    if unread:
        detail = f"{unread} processes of other accounts could not be looked into"
        gaps.append(Gap(what="handles", why="denied", detail=detail, provide="run as root"))
    if unseen := proc.hidden(machine, "handles"):
        gaps.append(unseen)
    return Seen({"handles": Handles(open=found, unread=unread or bool(unseen) * 1)}, tuple(gaps))


def _wanted(machine: Machine) -> Wanted:
    majors = set(MAJORS)
    misc = {VFIO_MINOR}
    for path, names, numbers in (("/proc/devices", DRIVERS, majors), ("/proc/misc", MISC, misc)):
        try:
            content = machine.read(path)
        except OSError:
            continue  # the fixed numbers stand
        for line in content.split("\n"):
            words = line.split()
            if line.startswith("Block devices"):
                break
            if len(words) == 2 and words[0].isdecimal() and words[1] in names:
                numbers.add(int(words[0]))
    return Wanted(frozenset(majors), frozenset(misc))


def _held(machine: Machine, pid: int, wanted: Wanted, remote: dict[str, tuple[str, ...]]) -> Held:
    """The wanted nodes that a process holds; none when it is gone.

    Raises `PermissionError` when the process may not be looked into.
    """
    held: Held = {}
    folder = machine.path(f"/proc/{pid}/fd")
    try:
        names = os.listdir(folder)
    except PermissionError:
        raise
    except OSError:
        return held
    far: tuple[str, ...] | None = None
    for name in sorted(names, key=lambda name: (len(name), name)):
        path = f"{folder}/{name}"
        try:
            text = os.readlink(path)
            if not text.startswith("/") or text == "/dev/null":  # sockets, pipes, anonymous inodes
                continue
            if far is None:
                far = _far(machine, pid, remote)
            if far and text.startswith(far):
                continue
            status = os.stat(path)
        except OSError:
            continue
        if stat.S_ISCHR(status.st_mode) and wanted.has(status.st_rdev):
            held[text, status.st_rdev] = None
    return held


def _far(machine: Machine, pid: int, remote: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Mount points of remote file systems in the mount namespace of a process."""
    namespace = proc.link(machine, pid, "ns/mnt") or str(pid)
    if namespace not in remote:
        points = []
        try:
            content = machine.read(f"/proc/{pid}/mountinfo")
        except OSError:
            content = ""
        for line in content.split("\n"):
            words = line.split()
            dash = words.index("-") if "-" in words else len(words)
            if len(words) > dash + 1 and dash >= 6 and words[dash + 1].split(".")[0] in _REMOTE:
                points.append(re.sub(r"\\([0-7]{3})", lambda code: chr(int(code[1], 8)), words[4]) + "/")
        remote[namespace] = tuple(points)
    return remote[namespace]


def _handles(machine: Machine, pid: int, held: Held) -> list[Handle]:
    name = proc.command(machine, pid)
    try:
        status = proc.status(machine, pid) or {}
    except OSError:
        status = {}
    uid = next(iter(proc.numbers(status.get("Uid"))[1:2]), None)  # the effective one
    group = proc.control_group(machine, pid)
    hypervisor = _hypervisor(name, proc.link(machine, pid, "exe"))
    container = _container(machine, pid, status, group, hypervisor)
    return [
        Handle(
            pid=pid,
            command=decoded(name),
            uid=UNSET if uid is None else uid,
            user=UNSET if uid is None else user_name(machine, uid),
            path=decoded(text.removesuffix(_DELETED)),
            major=os.major(number),
            minor=os.minor(number),
            deleted=text.endswith(_DELETED),
            hypervisor=hypervisor,
            container=container,
            unit=UNSET if group is None else proc.unit(group),
        )
        for text, number in held
    ]


def _hypervisor(name: str, executable: str | None) -> bool | UnsetType:
    """By the program file; by the command name, which QEMU can be told to change, only to say yes."""
    if _names_hypervisor(name):
        return True
    if executable is None:
        return UNSET
    return _names_hypervisor(os.path.basename(executable.removesuffix(_DELETED)))


def _names_hypervisor(name: str) -> bool:
    name = name.lstrip(".")  # wrapped programs are called `.NAME-wrapped`
    return name.startswith(_HYPERVISORS) or name in _HYPERVISORS_WHOLE


def _container(
    machine: Machine, pid: int, status: dict[str, str], group: str | None, hypervisor: bool | UnsetType
) -> bool | UnsetType:
    """Whether the process runs in a container.

    A process-number namespace of its own says yes.  A mount namespace of its own says
    little: service managers sandbox services that way, and libvirt its QEMU processes.
    """
    levels = proc.numbers(status.get("NSpid"))
    if len(levels) > 1:
        return True
    if group is not None and any(mark in group for mark in _CONTAINER_GROUPS):
        return True
    ours = {proc.link(machine, 1, "ns/mnt"), proc.link(machine, "self", "ns/mnt")} - {None}  # PID 1's is root's to read
    if proc.link(machine, pid, "ns/mnt") in ours or hypervisor is True:
        return False
    if group is not None and (proc.unit(group) or "").endswith(".service"):
        return False
    return UNSET
