"""Lock files of serial ports: whose number one holds, and whether `ps` shows that process alive.

/var/lock/LCK..ttyUSB0 holds the number of the process in ten characters, and may have the
program and the account behind it (Filesystem Hierarchy Standard 3.0, 5.9; minicom writes all three).
A program looks whether that process lives before it believes the file (lockdev(3), ttylock(3); from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lock files of serial ports"

_FILE = re.compile(r"/LCK\.\.(?P<tty>tty(?:USB|ACM)\d{1,4})\b")
_SHOWS = re.compile(r"^(?:cat|head|more|less|tail)\s")
_CONTENT = re.compile(r"^\s{0,10}(?P<pid>\d{1,8})(?:\s+(?P<program>[\w.+-]{1,40})(?:\s+(?P<user>[\w.+-]{1,32}))?)?\s*$")
# ps -p, ps -fp, ps aux: the number first or behind the account, the command behind the time that it has run
_PROCESS = re.compile(
    r"^\s{0,10}(?:(?P<user>[a-z_][\w.+-]{0,31})\s{1,20})?(?P<pid>\d{1,8})\s.{0,160}\b\d{1,4}:\d\d(?::\d\d)?\s{1,8}"
    r"(?P<command>\S{1,200})"
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """The process that has locked a port, when a list of processes shows that it lives."""
    locks: dict[int, tuple[Line, str]] = {}  # number of the process → the line that names it, the tty
    asked: str | None = None
    for line in lines:
        text = line.text[:500]
        if line.prompt is not None:
            named = _FILE.search(line.prompt[:300])
            asked = named["tty"] if named and _SHOWS.match(line.prompt) else None
        elif asked is not None:
            if text.strip():
                if content := _CONTENT.match(text):
                    locks[int(content["pid"])] = line, asked
                asked = None
        elif locks and (match := _PROCESS.match(text)) and int(match["pid"]) in locks:
            lock, tty = locks.pop(int(match["pid"]))
            value = {"pid": int(match["pid"]), "path": f"/dev/{tty}", "command": match["command"].rpartition("/")[2]}
            if match["user"]:
                value["user"] = match["user"]
            yield Piece("handle", (lock.number, line.number), value)
