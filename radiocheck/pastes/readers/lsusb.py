"""`lsusb`: one line per device (usbutils, lsusb.c: "Bus %s Device %s: ID %04x:%04x %s %s")."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.broken import left_out
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece
from radiocheck.pastes.speakers import GUEST, machines

TITLE = "lsusb"
ROOT_HUB = "1d6b"  # usb.ids: Linux Foundation

# The words behind the IDs are the ID database's as often as the device's own: they are no strings of the device.
_LINE = re.compile(
    r"\bBus (?P<bus>\d{1,3}) Device (?P<number>\d{1,3}): ID (?P<vid>[0-9a-f]{4}):(?P<pid>[0-9a-f]{4})\b(?P<words>.*)",
    re.I,
)
_HUB = re.compile(r"\bhub\b", re.IGNORECASE)
_PLAIN = re.compile(r"(?:/usr/s?bin/)?lsusb\s*(?:2>\S+)?\s*(?:-v+)?$")
_ERROR = re.compile(r"^\s*(?:Couldn't|can't|cannot|unable)\b", re.IGNORECASE)

_Row = tuple[Line, int, int, str]


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each listed device; and that a list is whole, when it has the root hub of every bus that the paste names.

    The lists of two machines say nothing of each other's buses: neither is whole, and a VM's is marked as of elsewhere
    when its host speaks, too.
    """
    whose = machines(lines)
    several = len(set(whose) - {None}) > 1
    everywhere = {int(match["bus"]) for line in lines if (match := _LINE.search(line.text))}
    block: list[_Row] = []
    asked: str | None = None  # the command of this block
    broken = False  # lines were left out of it
    for line, machine in zip(lines, whose, strict=True):
        match = _LINE.search(line.text)
        if match is None:
            if left_out(line.text):
                broken = True
            elif line.prompt is not None or (block and line.text.strip() and not _goes_on(line.text)):
                yield from _whole(block, asked, broken or several, everywhere)
                block, broken = [], False
                asked = line.prompt
            continue
        bus, number, vid = int(match["bus"]), int(match["number"]), match["vid"].lower()
        block.append((line, bus, number, vid))
        values: dict[str, int | str | bool] = {"bus": bus, "devnum": number, "vid": vid, "pid": match["pid"].lower()}
        words = match["words"].strip(" \t.-|`*")
        if vid == ROOT_HUB and number == 1:
            values |= {"name": f"usb{bus}", "device_class": 9}
        elif _HUB.search(words):
            values["device_class"] = 9
        if several and machine == GUEST:
            values["elsewhere"] = True
        yield Piece("device", (line.number,), {**values, "words": words})
    yield from _whole(block, asked, broken or several, everywhere)


def _goes_on(text: str) -> bool:
    """A line of `lsusb -v` between two headings: indented, or its first words."""
    return text[:1] == " " or text.startswith(("Device Descriptor", "Device Status")) or _ERROR.match(text) is not None


def _whole(block: list[_Row], asked: str | None, broken: bool, everywhere: set[int]) -> Iterator[Piece]:
    """A list is whole when it has every bus with its root hub at the end where lsusb puts it, and nothing chose lines.

    usbutils until 014 lists buses and devices from the last to the first, later ones from
    the first to the last: the root hub, which has number 1, is the last or the first of its bus.
    """
    if not block or broken or (asked is not None and not _PLAIN.match(asked.strip())):
        return
    buses: dict[int, list[tuple[int, str]]] = {}
    order: list[int] = []
    for _, bus, number, vid in block:
        if not order or order[-1] != bus:
            order.append(bus)
        buses.setdefault(bus, []).append((number, vid))
    if order not in (sorted(buses), sorted(buses, reverse=True)) or set(buses) != everywhere:
        return
    down = len(order) > 1 and order[0] > order[1]
    for rows in buses.values():
        ends = [rows[-1]] if down else [rows[0]] if len(order) > 1 else [rows[0], rows[-1]]
        if not any(number == 1 and vid == ROOT_HUB for number, vid in ends):
            return
    # Without the command before it, a list might begin or end too late: then no number of a bus may be missing.
    if asked is not None or set(buses) == set(range(1, max(buses) + 1)):
        yield Piece("whole", tuple(line.number for line, *_ in block), "usb")
