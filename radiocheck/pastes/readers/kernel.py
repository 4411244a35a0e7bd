"""Kernel messages about USB, as dmesg, journalctl and syslog show them, in whatever frame and language.

The message itself is the kernel's own format (sources/kernel_formats, pastes/kernel_older);
what stands before it differs by program, option and language, so it is not parsed: the
message is looked for where a driver and a device's name begin.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from radiocheck.evidence.record import Event
from radiocheck.pastes.boots import earlier
from radiocheck.pastes.broken import is_cut, left_out
from radiocheck.pastes.bus_log import ERRORS
from radiocheck.pastes.kernel_older import read_older
from radiocheck.pastes.kernel_time import YEAR, short, since, stamp
from radiocheck.pastes.line import Line
from radiocheck.pastes.one_sided import one_sided
from radiocheck.pastes.piece import Piece
from radiocheck.sources.kernel_log import read_line

TITLE = "the kernel log"

_NAME = (
    r"(?:usb\d{1,3}(?:-port\d{1,3})?|\d{1,3}-[\d.]{1,20}(?:-port\d{1,3}|:\d{1,2}\.\d{1,3})?|tty(?:USB|ACM)\d{1,4}"
    r"|hwmon\d{1,3}|\d{1,3}(?::\d{1,4}){3}|(?:[0-9a-f]{4}:)?[0-9a-f]{2}:[0-9a-f]{2}\.\d|[\w-]{2,30}\.[\w-]{1,16}(?:\.auto)?)"
)
_BEFORE = r"(?:^|(?<=[\s\]:>`'\"(|*]))"
# A word cannot go on to the left, so no place in a long word is tried twice.
_MESSAGE = re.compile(rf"{_BEFORE}(?P<message>[A-Za-z][\w-]{{1,40}} {_NAME}: \S.*)$")
_PROBE = re.compile(rf"{_BEFORE}(?P<message>[a-z][\w-]{{1,40}}: probe of \S{{1,40}} failed with error -?\d+)")
# The SCSI host of a storage device, in a line that ends with the interface
_STORED = re.compile(
    rf"{_BEFORE}(?P<message>scsi(?:\d{{1,4}} :| host\d{{1,4}}:) (?:usb-storage "
    r"\d{1,3}-[\d.]{1,20}:\d{1,2}\.\d{1,3}|SCSI emulation for USB Mass Storage devices))"
)
_BARE = re.compile(r"(?:\]|kernel:) {1,3}(?P<message>[Uu]nder-?voltage detected!.*)$")  # names no device
_ASIDE = re.compile(r"[`|]|\s\||\*\*|'\s|\"\s")  # where a quotation inside of prose ends
_FRAMED = re.compile(
    r"kernel: |^\s{0,8}(?:<\d{1,3}>)?\[|^\s{0,8}(?:kern|daemon|user|syslog) {0,4}:|kern\.\w{3,6} "
    r"|^\s{0,8}\d{4}-\d\d-\d\dT\S{8,30} "
)
_BANNER = re.compile(r"(?:\]|kernel:) {1,3}Linux version \d")
_FILTER = re.compile(
    r"\|\s{0,4}(?:sudo )?(?:e?grep|rg|ag|awk|sed|tail|head|cut|sort|uniq)\b"
    r"|journalctl[^|]{0,80} (?:-n|-g|--grep|--lines|-f)"
)
_LONGEST_TAIL = 400  # of a line that goes on in the next
_WRAPPED = 60  # a terminal is not narrower
FROM_BOOT = 100  # lines of a log that reaches back to the start: a kernel says more than that before anybody asks


def message(text: str) -> str | None:
    """The kernel's message in a line, without whatever stands before it; None when there is none."""
    if ": " not in text:
        match = _BARE.search(text) if "oltage detected" in text else None
        return match["message"].rstrip() if match else None
    for pattern in (_MESSAGE, _PROBE, _STORED, _BARE):
        if match := pattern.search(text):
            return match["message"].rstrip()
    return None


def event_in(text: str) -> Event | None:
    """The event of a message; also of one with a quotation's marks or a full stop behind it."""
    event = read_line(text) or read_older(text)
    if event is not None:
        return event
    aside = _ASIDE.search(text)
    for shorter in ((text[: aside.start()],) if aside else ()) + (text.rstrip(" .,;:!?)('\"*|"),):
        if shorter != text and (event := read_line(shorter.rstrip()) or read_older(shorter.rstrip())):
            return event
    return None


class _Times:
    """The clocks of a paste: the newest time on each, and whether its log reaches back to the start."""

    def __init__(self) -> None:
        self.newest: dict[str, tuple[float, int]] = {}
        self.years = 0
        self.day: float | None = None  # newest time of the clock without a year
        self.minute: float | None = None  # where dmesg -H counts from
        self.banner: str | None = None
        self.rows = 0  # lines of a log since the banner
        self.broken = False

    def at(self, head: str) -> tuple[str, float] | None:
        """The time in front of a message."""
        found = stamp(head)
        if found is None:
            found = short(head)
            if found is not None:
                self.minute = max(found[1], self.minute or 0.0)
                found = ("day", self.minute)
            elif self.minute is not None and (passed := since(head)) is not None:
                self.minute += passed
                found = ("day", self.minute)
        if found is not None and found[0] == "day":
            at = found[1] + self.years * YEAR
            if self.day is not None and at < self.day - YEAR / 2:  # December, then January
                self.years += 1
                at += YEAR
            self.day = at
            return "day", at
        return found

    def note(self, at: tuple[str, float], number: int) -> None:
        """A line of a log with this time."""
        if at[0] not in self.newest or at[1] >= self.newest[at[0]][0]:
            self.newest[at[0]] = (at[1], number)
        self.rows += 1


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Events, `at` on the clock of their excerpt, and for each clock the newest time on it.

    The same message with the same time, pasted twice, counts once.
    """
    seen: set[tuple[str, str, float | None]] = set()
    times = _Times()
    before = earlier(lines)
    healed = one_sided(lines)
    after_string = False  # the line before was a device's string: an indented line without a time goes on with it
    filtered = False
    for index, line in enumerate(lines):
        if line.prompt is not None:
            filtered = _FILTER.search(line.prompt) is not None
            after_string = False
            times.broken = times.broken or times.banner is None or times.rows < FROM_BOOT
            continue
        if left_out(line.text):
            times.broken = True
            continue
        found = message(line.text)
        head = line.text[: -len(found)] if found and line.text.rstrip().endswith(found) else line.text
        at = times.at(head)
        if at is not None and at[0] == "uptime" and line.number in before:
            at = (f"uptime-{before[line.number]}", at[1])  # of an earlier boot
        if at is not None and _FRAMED.search(line.text[:160]):
            times.note(at, line.number)
            if not filtered and _BANNER.search(line.text):
                times.banner, times.rows, times.broken = at[0], 0, False
        if found is None or (after_string and at is None and line.text.startswith("  ")):
            continue
        numbers, event = _event(found, lines, index, at is not None)
        after_string = event is not None and event.kind == "string-value" and at is not None
        if event is None or (line.number in healed and event.kind in ERRORS):
            continue
        if at is not None:
            key = (event.text, at[0], at[1])
            if key in seen:
                continue
            seen.add(key)
            event = replace(event, at=at[1])
            times.newest.setdefault(at[0], (at[1], line.number))
        yield Piece("event", numbers, (at[0] if at else None, event))
    for clock, (last, number) in times.newest.items():
        from_boot = times.banner == clock in ("uptime", "date", "day") and not times.broken and times.rows >= FROM_BOOT
        yield Piece("log", (number,), {"clock": clock, "last": last, "from_boot": from_boot})


def _event(found: str, lines: Sequence[Line], index: int, stamped: bool) -> tuple[tuple[int, ...], Event | None]:
    """The event of a message, which may go on in the next line; a device's string that was cut off is no value."""
    line = lines[index]
    event = event_in(found)
    cut = is_cut(line.text)
    tail = _tail(lines, index) if stamped and len(line.text) >= _WRAPPED and not cut else None
    if event is not None and (event.kind != "string-value" or (tail is None and not cut)):
        return (line.number,), event
    if tail is None:
        return (line.number,), None
    for whole in (found + tail.text.lstrip(), f"{found} {tail.text.strip()}"):
        if (event := event_in(whole)) and event.kind != "string-value":
            return (line.number, tail.number), event
    return (line.number,), None


def _tail(lines: Sequence[Line], index: int) -> Line | None:
    """The line that a line goes on in: it has no time, no prompt and no message of its own."""
    if index + 1 >= len(lines):
        return None
    line = lines[index + 1]
    text = line.text[:_LONGEST_TAIL]
    if line.prompt is not None or not text.strip() or stamp(text) is not None or since(text) is not None:
        return None
    return None if message(text) else line


def plain(piece: Piece) -> Event:
    """The event of a piece, without its clock."""
    event: Event = piece.value[1]
    return event
