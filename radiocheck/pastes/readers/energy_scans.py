"""Energy scans of the 2.4 GHz band by a radio of IEEE 802.15.4: a level for each of the channels 11 to 26.

Programs print them as `ch11=31 ch12=29 …`, as a table of a row for each channel, or as a
dictionary.  A level is in dBm, in per cent, or in steps of the radio's energy detection, which are
whole numbers from 0 to 255 (IEEE Std 802.15.4-2006, 6.9.7; from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from msgspec import Struct, field

from radiocheck.evidence.air import AirReading
from radiocheck.pastes.line import Line
from radiocheck.pastes.meanwhile import IDLE, around, load, setup
from radiocheck.pastes.piece import Piece

TITLE = "an energy scan"

_READ = 600  # characters of a line that are looked at
_LEAST = 12  # of the sixteen channels
_BETWEEN = 2  # other lines that may stand between two of a scan
_CHANNEL = r"(?:1[1-9]|2[0-6])"
_LEVEL = r"-?\d{1,3}(?:\.\d{1,3})?"
_NAMED = re.compile(
    rf"\bch(?:an(?:nel)?)?[ ._#]?(?P<channel>{_CHANNEL})\s{{0,3}}[=:]\s{{0,3}}(?P<level>{_LEVEL})\s?(?P<unit>dBm|%)?",
    re.I,
)
_PAIR = re.compile(rf"(?<![\w.:-])['\"]?(?P<channel>{_CHANNEL})['\"]?: ?(?P<level>{_LEVEL})(?P<unit>dBm|%)?(?![\w:])")
_ROW = re.compile(
    rf"^[\s|+*-]{{0,12}}(?:ch(?:annel)? ?)?(?P<channel>{_CHANNEL})"
    rf"(?P<levels>(?:[\s|:;,]{{1,16}}{_LEVEL} ?(?:dBm|%)?){{1,4}})"
    r"(?=[\s|#*=;,]|$)",
    re.I,
)
_CELL = re.compile(rf"(?P<level>{_LEVEL}) ?(?P<unit>dBm|%)?", re.I)
_DURING = re.compile(r"^(?:during|while|with|loud|während|pendant|durante|podczas|tijdens)\b", re.IGNORECASE)
_BEFORE = re.compile(
    r"^(?:before|without|quiet|vorher|ohne|avant|sans|antes|sin|prima|senza|przed|voor|zonder)\b", re.I
)


class _Scan(Struct):
    first: int  # index of its first line
    last: int
    numbers: list[int] = field(default_factory=list)
    columns: list[dict[int, float]] = field(default_factory=list)  # level by channel
    units: set[str] = field(default_factory=set)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One reading for each scan, and for each column of a table."""
    ended = -1
    for scan in _scans(lines):
        yield from _pieces(lines, scan, ended)
        ended = scan.last


def _scans(lines: Sequence[Line]) -> Iterator[_Scan]:
    """Lines with levels that belong together: no channel comes twice, and they rise."""
    scan: _Scan | None = None
    for index, line in enumerate(lines):
        cells = _cells(line.text[:_READ])
        if not cells:
            continue
        begins = scan is None or index - scan.last > _BETWEEN + 1 or len(cells[0][1]) != len(scan.columns)
        if scan is not None and (begins or cells[0][0] <= max(scan.columns[0])):
            yield scan
            scan = None
        if scan is None:
            scan = _Scan(first=index, last=index, columns=[{} for _ in cells[0][1]])
        scan.last = index
        scan.numbers.append(line.number)
        for channel, levels in cells:
            for column, (level, unit) in zip(scan.columns, levels, strict=False):
                column.setdefault(channel, level)
                scan.units.add(unit.lower())
    if scan is not None:
        yield scan


def _cells(text: str) -> list[tuple[int, list[tuple[float, str]]]]:
    """Channels of a line, each with its levels and their units."""
    found = list(_NAMED.finditer(text))
    if not found:
        found = list(_PAIR.finditer(text))
        found = found if len(found) >= _LEAST else []
    if found:
        return [(int(one["channel"]), [(float(one["level"]), one["unit"] or "")]) for one in found]
    row = _ROW.match(text)
    if row is None:
        return []
    return [(int(row["channel"]), [(float(one["level"]), one["unit"] or "") for one in _CELL.finditer(row["levels"])])]


def _pieces(lines: Sequence[Line], scan: _Scan, ended: int) -> Iterator[Piece]:
    transfer, changed = around(lines, scan.first, ended)
    heads = _heads(lines, scan, ended)
    for number, column in enumerate(scan.columns):
        unit = _unit(scan.units, column)
        if len(column) < _LEAST or unit is None:
            continue
        if len(scan.columns) > 1:
            if len(heads) != len(scan.columns):
                return  # what the columns are is not told
            transfer, changed = _head(heads[number]), setup(heads[number])
        yield Piece(
            "air",
            tuple(dict.fromkeys(scan.numbers)),
            AirReading(
                kind="energy",
                transfer=transfer,
                setup=changed,
                unit=unit,
                channels=list(column),
                levels=list(column.values()),
                text=lines[scan.first].text.strip()[:200],
            ),
        )


def _unit(units: set[str], column: dict[int, float]) -> str | None:
    """The unit of all levels; None when they make no sense."""
    levels = column.values()
    if "%" in units:
        return "percent" if all(0 <= level <= 100 for level in levels) else None
    if "dbm" in units or min(levels) < 0:
        return "dBm" if all(-120 <= level <= 0 for level in levels) else None
    return "steps" if all(level <= 255 for level in levels) else None


def _heads(lines: Sequence[Line], scan: _Scan, ended: int) -> list[str]:
    """The heads of a table's columns, without that of the channels."""
    for index in range(scan.first - 1, max(ended, scan.first - 4), -1):
        text = lines[index].text.strip()[:_READ]
        if re.search(r"[^\W\d_]", text):
            cells = text.strip("|").split("|") if "|" in text else re.split(r"\s{2,40}|;|,", text)
            return [cell.strip() for cell in cells][1:]
    return []


def _head(text: str) -> str | None:
    if _BEFORE.match(text):
        return IDLE
    return load(text) or ("busy" if _DURING.match(text) else None)
