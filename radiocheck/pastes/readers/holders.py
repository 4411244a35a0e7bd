"""Who has a node open: `lsof`, `fuser -v`, and the descriptors of a process.

lsof(8), "OUTPUT"; psmisc, fuser(1); proc_pid_fd(5).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lsof, fuser or a process's descriptors"

_NODE = r"/dev/(?:tty(?:USB|ACM)\d{1,4}|bus/usb/\d{3}/\d{3}|serial/by-\w{2,6}/\S{1,200}|vfio/\d{1,5})"
_LSOF = re.compile(
    r"^(?P<command>\S{1,40})\s+(?P<pid>\d{1,8})(?:\s+\d{1,8}(?:\s\S{1,20})?)?\s+(?P<user>[\w.+-]{1,32})\s+"
    r"(?P<fd>\d{1,6}[rwu]?\S{0,2}|mem|cwd)\s+CHR\s+(?:(?P<major>\d{1,4}),(?P<minor>\d{1,7})\s+)?"
    rf"[^/]{{0,60}}(?P<path>{_NODE})(?P<gone> \(deleted\))?\s*$"
)
_FUSER_HEAD = re.compile(rf"^\s*(?P<path>{_NODE}):\s*(?P<rest>.*)$")
_FUSER_ROW = re.compile(
    r"^\s*(?P<user>[\w.+-]{1,32})\s+(?P<pid>\d{1,8})\s+(?P<access>[cefFrRmosv.]{1,8})\s+(?:\([^)]{1,40}\)\s{0,9})?"
    r"(?P<command>\S{1,60})\s*$"
)
_PIDS = re.compile(r"^\s*(?:\d{1,8}[cefFrm.]{0,5}(?:\s+|$)){1,40}$")
# `ls -l /proc/PID/fd`, and a row of it
_DESCRIPTORS = re.compile(r"/proc/(?P<pid>\d{1,8})/(?:task/\d{1,8}/)?fd\b")
_DESCRIPTOR = re.compile(rf"^l[r-][w-]x\S{{6,8}} .{{10,100}} \d{{1,6}} -> (?P<path>{_NODE})(?P<gone> \(deleted\))?\s*$")
# lsof cuts names after nine characters (lsof(8), +c); the kernel after fifteen
_CUT = {
    "ModemMana": "ModemManager",
    "qemu-syst": "qemu-system-x86",
    "usbguard-": "usbguard-daemon",
    "usbhid-up": "usbhid-ups",
}


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each process with the node that it holds, once; `fuser` without -v tells numbers only."""
    path: str | None = None
    process: int | None = None  # whose descriptors are listed
    seen: set[tuple[int, str]] = set()
    for line in lines:
        text = line.text.strip()
        found: list[Piece] = []
        if named := _DESCRIPTORS.search(text[:200]):
            process = int(named["pid"])
        if process is not None and line.prompt is None and (match := _DESCRIPTOR.match(text[:600])):
            held = {"pid": process, "path": match["path"], "deleted": match["gone"] is not None}
            found = [Piece("handle", (line.number,), held)]
        elif match := _LSOF.match(text[:600]):
            found = [_open(match, line)]
        elif match := _FUSER_HEAD.match(text[:600]):
            path = match["path"]
            found = list(_row(match["rest"], path, line))
        elif path is not None and text and line.prompt is None:
            found = list(_row(text[:600], path, line))
        else:
            path = None
        for piece in found:
            if (key := (piece.value["pid"], piece.value["path"])) not in seen:  # lsof -K: each thread
                seen.add(key)
                yield piece
        if line.prompt is not None:
            seen.clear()
            process = process if named else None


def _open(match: re.Match[str], line: Line) -> Piece:
    """A row of lsof."""
    values: dict[str, Any] = {
        "command": _CUT.get(match["command"], match["command"]),
        "pid": int(match["pid"]),
        "user": match["user"],
        "path": match["path"],
        "deleted": match["gone"] is not None,
    }
    if match["major"] is not None:
        values |= {"major": int(match["major"]), "minor": int(match["minor"])}
    return Piece("handle", (line.number,), values | _hypervisor(values["command"]))


def _row(text: str, path: str, line: Line) -> Iterator[Piece]:
    """A row of fuser: with -v one process, else numbers."""
    if row := _FUSER_ROW.match(text):
        values = {"command": row["command"], "pid": int(row["pid"]), "user": row["user"], "path": path}
        yield Piece("handle", (line.number,), values | _hypervisor(row["command"]))
    elif text.strip() and _PIDS.match(text):
        for pid in re.findall(r"\d{1,8}", text):
            yield Piece("handle", (line.number,), {"pid": int(pid), "path": path})


def _hypervisor(command: str) -> dict[str, Any]:
    return {"hypervisor": True} if command.startswith("qemu-") or command == "kvm" else {}
