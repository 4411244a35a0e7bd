"""A line of `lsusb` and a log that names no IDs: two halves of one adapter, where there is only one of each.

`lsusb` has bus, number and IDs, and no place; a log that was cut to its last line, and
udev's database without the USB properties, have a place and a tty, and no IDs.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from radiocheck.evidence.record import Event
from radiocheck.evidence.serial import Tty

from .devices import Record

# usb.ids: makers of serial bridges, and the beginning of what their driver and its converter are called.
BRIDGES = {"0403": "ftdi", "067b": "pl2303", "10c4": "cp210", "1a86": "ch34", "4348": "ch34"}
_ACM = "cdc_acm"
_ERRORS = frozenset({"urb-stopped", "chip-request-error", "chip-control-error"})
_FAMILIES = frozenset(BRIDGES.values())


def by_tty(records: list[Record], ttys: Sequence[Tty]) -> None:
    """Join the only bridge without a place to the only tty without IDs, on each bus that has one of each.

    Another device without a place that might have made the tty forbids it: which one did is not known.
    """
    made = {tty.interface.partition(":")[0] for tty in ttys if isinstance(tty.interface, str)}
    for bus in {record.fields.get("bus") for record in records} - {None}:
        here = [record for record in records if record.fields.get("bus") == bus]
        blank = [one for one in here if "name" in one.fields and "vid" not in one.fields and _has_tty(one, made)]
        loose = [one for one in here if "name" not in one.fields and "vid" in one.fields and _may_be_bridge(one)]
        if len(blank) == len(loose) == 1 and _fit(loose[0], blank[0]):
            _take(blank[0], loose[0])
            records.remove(loose[0])


def spoken_of(events: Sequence[Event]) -> list[str]:
    """Ttys that a driver reports errors of, in lines that name no device: who has only these has the tty.

    Errors come with an unplug, too: one that is told of after them takes the tty away.
    """
    found: dict[str, None] = {}
    for event in events:
        if event.kind == "disconnect":
            found.clear()
        elif event.kind == "detached" and event.tty:
            found.pop(event.tty, None)
        elif event.kind in _ERRORS and event.tty and event.device is None:
            found[event.tty] = None
    return list(found)


def _has_tty(record: Record, made: set[str]) -> bool:
    return record.fields["name"] in made or any(one.get("ttys") for one in record.interfaces.values())


def _may_be_bridge(record: Record) -> bool:
    """Not a root hub, and of a maker of bridges; what others make is mostly mice and disks."""
    return record.fields.get("device_class") != 9 and record.fields["vid"] in BRIDGES


def _fit(listed: Record, logged: Record) -> bool:
    """Whether no driver's name, and no number, says that they are two."""
    numbers = {one.fields["devnum"] for one in (listed, logged) if "devnum" in one.fields}
    words = [str(one.get(key) or "").lower() for one in logged.interfaces.values() for key in ("driver", "said")]
    families = {family for family in _FAMILIES for word in words if word.startswith(family)}
    acm = any(word == _ACM for word in words)
    return len(numbers) < 2 and (acm or families <= {BRIDGES[listed.fields["vid"]]})


def _take(one: Record, other: Record) -> None:
    """What the other says is true of the first, too."""
    for key, item in other.fields.items():
        one.fields.setdefault(key, item)
    for number, interface in other.interfaces.items():
        mine: dict[str, Any] = one.interfaces.setdefault(number, {})
        for key, item in interface.items():
            mine.setdefault(key, item)
    one.told = one.told or other.told
