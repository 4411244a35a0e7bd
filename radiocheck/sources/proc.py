"""Processes as /proc shows them (proc(5)).  A process may go away between two reads."""

from __future__ import annotations

import os

from radiocheck.evidence.record import Gap

from .machine import Machine, decoded

PF_KTHREAD = 0x00200000  # Linux include/linux/sched.h
PID_NAMESPACE_OF_THE_HOST = "pid:[4026531836]"  # PROC_PID_INIT_INO, Linux include/linux/proc_ns.h
_UNITS = (".service", ".scope")


def pids(machine: Machine) -> list[int]:
    """Numbers of the processes that can be seen, ascending; empty without /proc.  Raises `OSError`."""
    return sorted(int(name) for name in machine.names("/proc") if name.isdecimal())


def text(machine: Machine, pid: int, file: str) -> str | None:
    """A text file of a process; None when the process is gone.  Raises `OSError`."""
    try:
        return machine.attribute(f"/proc/{pid}/{file}")
    except ProcessLookupError:
        return None


def command(machine: Machine, pid: int) -> str:
    """The command name (at most 15 bytes, set by the process itself); empty when gone or hidden."""
    try:
        return text(machine, pid, "comm") or ""
    except OSError:
        return ""


def arguments(machine: Machine, pid: int) -> list[str]:
    """The command line; empty for kernel threads and for what is gone or hidden."""
    try:
        line = text(machine, pid, "cmdline") or ""
    except OSError:
        return []
    return line.removesuffix("\0").split("\0") if line else []


def status(machine: Machine, pid: int) -> dict[str, str] | None:
    """The fields of /proc/PID/status; None when the process is gone.  Raises `OSError`."""
    content = text(machine, pid, "status")
    if content is None:
        return None
    return {key: value.strip() for key, _, value in (line.partition(":") for line in content.split("\n"))}


def numbers(field: str | None) -> list[int]:
    """The numbers of a status field such as Uid, Groups, NSpid."""
    return [int(word) for word in (field or "").split() if word.isdecimal()]


def stat_fields(machine: Machine, pid: int) -> list[str]:
    """/proc/PID/stat from field 3 (state) on; empty when gone or hidden."""
    try:
        line = text(machine, pid, "stat") or ""
    except OSError:
        return []
    return line.rpartition(")")[2].split()  # field 2 is the command, which may hold blanks and parentheses


def kernel_thread(machine: Machine, pid: int) -> bool:
    """Whether it is a thread of the kernel, which holds no files."""
    fields = stat_fields(machine, pid)
    return len(fields) > 6 and fields[6].isdecimal() and bool(int(fields[6]) & PF_KTHREAD)


def started(machine: Machine, pid: int) -> int | None:
    """Clock ticks from boot to the start of the process; None for kernel threads and when gone or hidden."""
    fields = stat_fields(machine, pid)
    if len(fields) < 20 or not fields[6].isdecimal() or not fields[19].isdecimal():
        return None
    return None if int(fields[6]) & PF_KTHREAD else int(fields[19])


def link(machine: Machine, pid: int | str, name: str) -> str | None:
    """The text of a link such as `exe` or `ns/mnt` of a process or of `self`; None when it cannot be read."""
    try:
        return os.readlink(machine.path(f"/proc/{pid}/{name}"))
    except OSError:
        return None


def control_group(machine: Machine, pid: int) -> str | None:
    """The path in systemd's control group tree; None when it cannot be read.

    cgroups(7): the line `0::` of version 2, or `name=systemd` of version 1.
    """
    try:
        content = text(machine, pid, "cgroup")
    except OSError:
        return None
    if content is None:
        return None
    rows = [line.split(":", 2) for line in content.split("\n") if line.count(":") >= 2]
    for wanted in ("name=systemd", ""):  # where both are mounted, version 1 is the one systemd keeps
        for row in rows:
            if row[1] == wanted:
                return row[2]
    return None


def unit(path: str) -> str | None:
    """The systemd unit that a control group belongs to; None when it is none of systemd's.

    As systemd's own `cg_path_get_unit` (src/basic/cgroup-util.c): the first part that is
    no slice.  Units of a user manager are written `user@UID.service/UNIT`.
    """
    parts = [part for part in path.split("/") if part and not part.endswith(".slice")]
    if not parts or not parts[0].endswith(_UNITS):
        return None
    first = decoded(parts[0])
    if first.startswith("user@") and len(parts) > 1 and parts[1].endswith(_UNITS):
        return f"{first}/{decoded(parts[1])}"
    return first


def hidden(machine: Machine, what: str) -> Gap | None:
    """The gap for processes that do not show at all; None when all of them show."""
    namespace = link(machine, "self", "ns/pid")
    if namespace not in (None, PID_NAMESPACE_OF_THE_HOST):
        detail = "only the processes of this container can be seen"
        return Gap(what=what, why="not-here", detail=detail, provide="run on the host, outside of any container")
    if machine.euid == 0:
        return None
    try:
        lines = machine.read("/proc/self/mountinfo").split("\n")
    except OSError:
        return None
    mounts = [line for line in lines if line.split()[4:5] == ["/proc"] and " - proc " in line]
    # Linux Documentation/filesystems/proc.rst: hidepid=2 is `invisible`, 4 is `ptraceable`
    if mounts and any(f"hidepid={value}" in mounts[-1] for value in ("2", "invisible", "4", "ptraceable")):
        detail = "/proc hides the processes of other accounts (hidepid)"
        return Gap(what=what, why="denied", detail=detail, provide="run as root")
    return None
