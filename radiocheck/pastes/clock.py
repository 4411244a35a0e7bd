"""The events of a pasted log on one time line.

A paste may hold excerpts with different clocks: seconds since boot (of several boots, see
`boots`), dates with and without a year and a zone.  The differences within a clock are certain.  Two clocks are
put together by messages that both have, else by their ends: both tell of the time at
which the person looked.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from statistics import median
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from radiocheck.evidence.record import Event

from .piece import Piece

CLOCKS = ("date", "day", "uptime")  # the first that is there is the one that the others are put on
_EARLIER = re.compile(r"uptime-(?P<boots>\d{1,4})")  # seconds since boot, so many boots ago
RESTART = 10.0  # seconds between the last word of a boot and the start of the next one; none is faster
SAME = 2.0  # seconds between two records of one message: the journal notes when it was read


class Timed(Struct, frozen=True):
    """An event in Unix seconds, as far as that is known, and the piece that it is from."""

    event: Event
    piece: Piece


class Clocks(Struct, frozen=True):
    """What has to be added to the times of each clock, and the end of them all in Unix seconds."""

    shift: dict[str, float]
    end: float


def clocks(pieces: Sequence[Piece], now: float) -> Clocks:
    """How the clocks of a paste go together; `now` is the end of a log that tells no date."""
    last: dict[str, float] = {}
    for piece in pieces:
        clock = _clock(piece)
        at = piece.value["last"] if piece.kind == "log" else piece.value[1].at if piece.kind == "event" else None
        if clock is not None and _is_clock(clock) and isinstance(at, float | int):
            last[clock] = max(float(at), last.get(clock, float(at)))
    if not last:
        return Clocks({}, now)
    ago = sorted(int(match["boots"]) for clock in last if (match := _EARLIER.fullmatch(clock)))
    if ago:
        last.setdefault("uptime", 0.0)
    first = next(clock for clock in CLOCKS if clock in last)
    end = last[first] if first == "date" else now
    shift = {first: end - last[first]}
    for clock in CLOCKS:
        if clock in last and clock != first:
            apart = _apart(pieces, clock, first)
            shift[clock] = end - last[clock] if apart is None else shift[first] + apart
    start = shift.get("uptime", 0.0)
    for boots in ago:
        clock = f"uptime-{boots}"
        apart = _apart(pieces, clock, first) if first != "uptime" else None  # two boots say the same things
        latest = start - RESTART - last[clock]
        shift[clock] = start = latest if apart is None else min(latest, shift[first] + apart)
    return Clocks(shift, max(end, *(last[clock] + shift[clock] for clock in last)))


def timed(pieces: Sequence[Piece], found: Clocks) -> list[Timed]:
    """All events, oldest first; one without a time stays behind the one that stands before it.

    A message that two excerpts have is told once.
    """
    rows: list[tuple[float, int, Timed]] = []
    seen: dict[str, list[tuple[str | None, float]]] = {}
    latest = float("-inf")
    for position, piece in enumerate(pieces):
        if piece.kind != "event":
            continue
        clock, event = _clock(piece), piece.value[1]
        at = event.at + found.shift[clock] if event.at is not None and clock in found.shift else None
        if at is not None:
            latest = at
            twins = seen.setdefault(event.text, [])
            if any(other != clock and abs(at - when) <= SAME for other, when in twins):
                continue
            twins.append((clock, at))
        rows.append((latest, position, Timed(replace(event, at=at), piece)))
    rows.sort(key=lambda row: row[:2])
    return [row for _, _, row in rows]


def _is_clock(clock: str) -> bool:
    return clock in CLOCKS or _EARLIER.fullmatch(clock) is not None


def _clock(piece: Piece) -> str | None:
    value: Any = piece.value
    clock = value.get("clock") if piece.kind == "log" else value[0] if piece.kind == "event" else None
    return clock if isinstance(clock, str) else None


def _apart(pieces: Sequence[Piece], clock: str, other: str) -> float | None:
    """The difference of two clocks, by messages that both have exactly once; None when there are none."""
    times: dict[str, dict[str, list[float]]] = {clock: {}, other: {}}
    for piece in pieces:
        name = _clock(piece)
        if piece.kind == "event" and name in times and piece.value[1].at is not None:
            times[name].setdefault(piece.value[1].text, []).append(piece.value[1].at)
    both = [
        there[0] - here[0]
        for text, here in times[clock].items()
        if len(here) == 1 and len(there := times[other].get(text, [])) == 1
    ]
    return median(both) if both else None
