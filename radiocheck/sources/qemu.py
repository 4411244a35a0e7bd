"""Running QEMU processes: what each was told to hand to its guest, as whom it runs, what it may see.

Everything comes from /proc (proc(5)).  A command line shows how the process was started;
what was plugged in later does not show there.
"""

from __future__ import annotations

import os
import re
from typing import Any

from msgspec.structs import replace

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import Node
from radiocheck.evidence.vm import QemuProcess

from . import proc
from .accounts import user_name
from .acl import read_node
from .machine import Machine, Seen, decoded, refused
from .qemu_args import parse

_PROGRAM = re.compile(r"qemu-system-[\w.+-]+|qemu-kvm|kvm")  # comm is cut at 15 characters: qemu-system-x86
_NODES = "/dev/bus/usb"

Words = list[str] | UnsetType  # absent: the command line is not ours to see


def collect(machine: Machine) -> Seen:
    """`qemu`: all QEMU processes, or a gap when some processes are hidden from the caller."""
    try:
        pids = proc.pids(machine)
    except OSError as error:
        return Seen({}, (refused("qemu", error),))
    if 1 not in pids:
        # /proc mounted with hidepid=invisible lists only the caller's own processes.
        return Seen({}, (_gap("qemu", "denied", "other processes are hidden"),))
    told: dict[int, Words] = {}
    for pid in pids:
        try:
            if _is_qemu(machine, pid) and (words := _words(machine, pid)) is not None:
                told[pid] = words
        except OSError as error:
            return Seen({}, (refused("qemu", error),))  # it may be one: a list is complete or absent
    booted = _booted(machine)
    found: list[QemuProcess] = []
    gaps: list[Gap] = []
    for pid in told:
        process, more = _process(machine, pid, told, booted)
        if process is not None:
            found.append(process)
            gaps += more
    return Seen({"qemu": found}, tuple(gaps))


def _gap(what: str, why: str, detail: str, provide: str = "run as root") -> Gap:
    return Gap(what=what, why=why, detail=detail, provide=provide)


def _is_qemu(machine: Machine, pid: int) -> bool:
    """By its name, or by its program when it calls itself otherwise (`-name process=…`).

    Raises `OSError` when not even its name is ours to see (hidepid=noaccess).
    """
    name = proc.text(machine, pid, "comm")
    if name is None:
        return False
    if _PROGRAM.fullmatch(name):
        return True
    program = proc.link(machine, pid, "exe")
    if program is None:  # another account's process; the first word of its command line is usually its program
        words = _words(machine, pid)
        program = words[0] if isinstance(words, list) else ""
    return _PROGRAM.fullmatch(program.removesuffix(" (deleted)").rpartition("/")[2]) is not None


def _words(machine: Machine, pid: int) -> Words | None:
    """The words of the command line; None for kernel threads and for what has ended."""
    try:
        text = proc.text(machine, pid, "cmdline")
    except PermissionError:
        return UNSET
    except OSError:
        return None
    return text.removesuffix("\0").split("\0") if text else None


def _process(
    machine: Machine, pid: int, told: dict[int, Words], booted: int | None
) -> tuple[QemuProcess | None, list[Gap]]:
    gaps: list[Gap] = []
    facts: dict[str, Any] = {}
    try:
        status = proc.status(machine, pid)
    except OSError as error:
        gaps.append(refused(f"qemu[{pid}].uid", error))
        status = {}
    if status is None:
        return None, []  # it ended meanwhile
    parent = proc.numbers(status.get("PPid"))
    if parent and isinstance(told[pid], list) and told.get(parent[0]) == told[pid]:
        return None, []  # between fork and exec a child still looks like its parent
    uids, gids = proc.numbers(status.get("Uid")), proc.numbers(status.get("Gid"))
    if len(uids) == len(gids) == 4:  # real, effective, saved, file system; the effective one opens nodes
        facts = {"uid": uids[1], "user": user_name(machine, uids[1])}
        facts["groups"] = sorted({gids[1], *proc.numbers(status.get("Groups"))})
    ticks = proc.started(machine, pid)
    if booted is not None and ticks is not None:
        facts["started"] = booted + ticks / os.sysconf("SC_CLK_TCK")
    told_facts, more = _told(pid, told[pid])
    nodes, refusal = _own_nodes(machine, pid)
    return QemuProcess(pid=pid, own_nodes=nodes, **facts, **told_facts), [*gaps, *more, *refusal]


def _told(pid: int, words: Words) -> tuple[dict[str, Any], list[Gap]]:
    """What the command line says, as fields of the record."""
    if isinstance(words, UnsetType):
        return {}, [_gap(f"qemu[{pid}].usb", "denied", "its command line is hidden")]
    told = parse(words)
    if told.elsewhere:
        detail = f"it takes more devices from the file {told.elsewhere[0]}"
        return {"name": told.name, "uuid": told.uuid or UNSET, "libvirt": told.libvirt}, [
            _gap(f"qemu[{pid}].usb", "not-here", detail, "put them on the command line")
        ]
    names = ("name", "uuid", "usb", "pci", "ttys", "usb_bus", "libvirt")
    return {name: getattr(told, name) for name in names}, []


def _booted(machine: Machine) -> int | None:
    """Time of boot in Unix seconds: `btime` of /proc/stat."""
    try:
        match = re.search(r"^btime (\d+)$", machine.read("/proc/stat"), re.MULTILINE)
    except OSError:
        return None
    return int(match[1]) if match else None


def _own_nodes(machine: Machine, pid: int) -> tuple[list[Node] | UnsetType, list[Gap]]:
    """The USB nodes in the /dev that the process itself sees: libvirt makes one for each VM."""
    root, what = f"/proc/{pid}/root", f"qemu[{pid}].own_nodes"
    nodes: list[Node] = []
    gaps: list[Gap] = []
    try:
        machine.names(root)  # refused where the folder below it would just seem to be missing
        paths = [
            f"{_NODES}/{bus}/{device}"
            for bus in machine.names(root + _NODES)
            for device in machine.names(f"{root}{_NODES}/{bus}")
        ]
    except OSError as error:
        return UNSET, [refused(what, error)]
    for path in paths:
        node, more = read_node(machine, root + path, f"{what}[{decoded(path)}]")
        gaps += more
        if isinstance(node, UnsetType):
            return UNSET, gaps
        if node is not None:
            nodes.append(replace(node, path=decoded(path)))
    return nodes, gaps
