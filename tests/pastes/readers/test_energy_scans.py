"""Energy scans as invented programs print them."""

from __future__ import annotations

import pytest

from radiocheck.evidence.air import AirReading

from .said import values

CHANNELS = range(11, 27)
QUIET = {channel: -95 + channel % 3 for channel in CHANNELS}


def said(text: str) -> list[AirReading]:
    """Readings."""
    found: list[AirReading] = values("energy_scans", text, "air")
    return found


def pairs(levels: dict[int, int], form: str = "ch{}={}") -> str:
    """Two lines."""
    cells = [form.format(channel, level) for channel, level in levels.items()]
    return f"[01:00] scan {' '.join(cells[:8])}\n[01:02] scan {' '.join(cells[8:])}\n"


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        (pairs(QUIET), "dBm"),
        (pairs({channel: level + 120 for channel, level in QUIET.items()}), "steps"),
        (pairs({channel: level + 120 for channel, level in QUIET.items()}, "ch {}: {}%"), "percent"),
        ("\n".join(f"Channel {channel}: {level} dBm" for channel, level in QUIET.items()), "dBm"),
        ("| Ch | RSSI |\n+----+------+\n" + "\n".join(f"| {one} |  {QUIET[one]} |" for one in CHANNELS), "dBm"),
        ("\n".join(f" - {one}    {QUIET[one] + 120}.25%  ####" for one in CHANNELS), "percent"),
        (str({one: QUIET[one] + 120 for one in CHANNELS}), "steps"),
    ],
)
def test_forms(text: str, unit: str) -> None:
    """Pairs, rows, a table, bars, a dictionary."""
    (found,) = said(text)
    assert (found.kind, found.unit, found.channels) == ("energy", unit, list(CHANNELS))
    assert len(found.levels) == 16


def test_columns() -> None:
    """A column for each measurement, by its head; without heads nothing is told."""
    rows = "\n".join(f"{one}   {QUIET[one]}   {QUIET[one] + 30}" for one in CHANNELS)
    found = said(f"Channel  idle  during copy\n{rows}\n")
    assert [(one.transfer, one.levels[0]) for one in found] == [("idle", -93.0), ("busy", -63.0)]
    assert said(rows) == []
    turned = said(f"| ch | with extension | without |\n|---|---|---|\n{rows}")
    assert [(one.transfer, one.setup) for one in turned] == [("busy", "changed"), ("idle", "same")]


def test_two_scans() -> None:
    """A channel that comes again begins another one."""
    found = said(f"disk asleep\n{pairs(QUIET)}\nbackup running\n{pairs(QUIET)}")
    assert [one.transfer for one in found] == ["idle", "busy"]


@pytest.mark.parametrize(
    "text",
    [
        pairs({one: QUIET[one] for one in range(11, 20)}),
        pairs(dict.fromkeys(CHANNELS, 900)),
        "\n".join(f"{one} packets" for one in CHANNELS),
        "\n".join(f"11:{one:02}:33 reading" for one in CHANNELS),
        "\n".join(f"[{one}.000000] usb 1-1: text" for one in CHANNELS),
    ],
)
def test_what_is_none(text: str) -> None:
    """Too few channels, levels that make no sense, other numbers and times."""
    assert said(text) == []
