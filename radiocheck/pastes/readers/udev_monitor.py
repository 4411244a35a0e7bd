"""`udevadm monitor`: devices that come and go while somebody looks (udevadm-monitor.c: "%-6s[%s.%06u] %-8s %s (%s)").

Its times are those of the monotonic clock, as the kernel log's are nearly.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.evidence.record import Event
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "udevadm monitor"

_EVENT = re.compile(
    r"(?P<who>KERNEL|UDEV) {0,4}\[(?P<at>\d{1,9}\.\d{1,6})\] (?P<action>add|remove|bind|unbind|change|move) {1,8}"
    r"(?P<path>/devices/\S{1,500}) \((?P<subsystem>[\w-]{1,30})\)"
)
_LOGGED = re.compile(r"usb \d{1,3}-[\d.]{1,20}: (?:new \S{1,20} USB device|USB disconnect)")
_USB = re.compile(r"/(?P<device>\d{1,3}-\d{1,2}(?:\.\d{1,2}){0,6})$")
_TTY = re.compile(
    r"/(?P<device>\d{1,3}-\d{1,2}(?:\.\d{1,2}){0,6}):\d{1,2}\.\d{1,3}(?:/ttyUSB\d{1,4})?"
    r"/tty/(?P<tty>tty(?:USB|ACM)\d{1,4})$"
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Arrivals and departures of USB devices and their ttys; the kernel's word, or udev's where that is missing.

    Where the kernel log is there, too, it tells the same, and each arrival must count once.
    """
    if any(_LOGGED.search(line.text[:400]) for line in lines):
        return
    found = [(line, match) for line in lines if (match := _EVENT.search(line.text[:700]))]
    kernel = any(match["who"] == "KERNEL" for _, match in found)
    newest: tuple[float, int] | None = None
    for line, match in found:
        at = float(match["at"])
        newest = max(newest, (at, line.number)) if newest else (at, line.number)
        if kernel and match["who"] != "KERNEL":
            continue
        if event := _event(match["action"], match["path"], match["subsystem"], at, line.text.strip()):
            yield Piece("event", (line.number,), ("uptime", event))
    if newest is not None:
        yield Piece("log", (newest[1],), {"clock": "uptime", "last": newest[0], "from_boot": False})


def _event(action: str, path: str, subsystem: str, at: float, text: str) -> Event | None:
    text = text[:400]
    if subsystem == "usb" and (match := _USB.search(path)):
        kind = {"add": "new-device", "remove": "disconnect"}.get(action)
        return Event(kind=kind, at=at, device=match["device"], text=text) if kind else None
    if subsystem == "tty" and (match := _TTY.search(path)):
        if action == "add":
            kind = "attached" if match["tty"].startswith("ttyUSB") else "acm"
            return Event(kind=kind, at=at, device=match["device"], tty=match["tty"], text=text)
        if action == "remove":
            return Event(kind="detached", at=at, tty=match["tty"], text=text)
    return None
