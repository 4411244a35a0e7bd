"""Older wordings of the kernel, from memory: one sample of each in kernel_older.tsv."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from radiocheck.pastes.kernel_older import OLDER, read_older
from radiocheck.sources.kernel_log import KINDS, read_line

with (Path(__file__).parent / "kernel_older.tsv").open(newline="") as file:
    ROWS = list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))
LINES = [row["sample"] for row in ROWS]


def pairs(text: str) -> dict[str, str]:
    """`a=1 b=2`."""
    return dict(word.split("=", 1) for word in text.split())


@pytest.mark.parametrize("row", ROWS, ids=LINES)
def test_each_wording_is_its_kind(row: dict[str, str]) -> None:
    """Kind, place and data are as the live reader would give them."""
    found = read_older(row["sample"])
    assert found is not None
    assert (found.kind, found.text) == (row["kind"], row["sample"])
    place = {name: getattr(found, name) for name in ("device", "port", "tty", "controller") if getattr(found, name)}
    assert place == pairs(row["place"])
    assert pairs(row["data"]).items() <= found.data.items()


@pytest.mark.parametrize("line", LINES)
def test_none_of_them_is_the_live_readers(line: str) -> None:
    """What the table of Linux 6.1 and 6.12 knows is not said twice."""
    assert read_line(line) is None


def test_each_wording_has_a_sample_and_a_known_kind() -> None:
    """No entry of the table is untried."""
    kinds = {row["kind"] for row in ROWS}
    assert {entry.kind for entry in OLDER} == kinds <= set(KINDS)
    for entry in OLDER:
        assert any(re.fullmatch(entry.shape, line) for line in LINES), entry.shape


@pytest.mark.parametrize(
    "line",
    [
        "usb 1-1: configuration #1 chosen from 1 choice",
        "hub 1-0:1.0: 4 ports detected",
        "xhci_hcd 0000:00:14.0: WARN Event TRB for slot 4 ep 2 with no TDs queued?",
        "xhci_hcd 0000:00:14.0: ERROR Transfer event TRB DMA ptr not part of current TD ep_index 2 comp_code 13",
        "cdc_acm 1-2:1.0: This device cannot do calls on its own. It is not a modem.",
        "usb 1-1: clear tt 1 (9042) error -71",
        "e1000e 0000:00:1f.6: fatal error",
        "usb 1-1: fatal error",
        "",
    ],
)
def test_other_messages_are_passed_over(line: str) -> None:
    """Noise, or of another driver."""
    assert read_older(line) is None


def test_hostile_text_never_raises() -> None:
    """A device's string may be anything, and endless."""
    for line in LINES:
        for hostile in (line * 200, line.replace(" ", "\0"), line[:-1], line + "\u202e", line.upper()):
            found = read_older(hostile)
            assert found is None or len(found.text) <= 400
