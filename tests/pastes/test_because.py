"""Lines that decide are found by leaving out; commands to ask for are few."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import PasteSaid, Report
from radiocheck.evidence.record import Evidence
from radiocheck.pastes.ask import FIRST
from radiocheck.pastes.because import MOST_QUOTED, MOST_TRIES, explained, minimal, word
from radiocheck.pastes.merge import evidence, read
from radiocheck.pastes.piece import Piece

RULES = load([shipped()])
LONG = "".join(
    f"[{seconds}.100000] usb 2-{port}: new high-speed USB device number {seconds % 120 + 1} using xhci_hcd\n"
    for seconds in range(10, 900)
    for port in (seconds % 4 + 1,)
)
FAILURE = "[  950.590240] usb 1-1-port4: unable to enumerate USB device\n"


def of(text: str) -> tuple[Report, PasteSaid]:
    """The report on a paste, and what is told beside it."""
    reading = read(text.encode())
    report = judge(reading.evidence, RULES)
    return report, explained(reading, report, lambda part: judge(part, RULES))


def piece(number: int) -> Piece:
    """A piece that only has a line."""
    return Piece("log", (number,), {})


@given(st.integers(2, 60), st.data())
def test_only_what_is_needed_is_left(size: int, data: st.DataObject) -> None:
    """When a verdict needs certain pieces and no others, these are left, in their order."""
    needed = data.draw(st.sets(st.integers(1, size), min_size=1, max_size=4))

    def same(pieces: Sequence[Piece]) -> bool:
        return needed <= {one.lines[0] for one in pieces}

    left = minimal([piece(number) for number in range(1, size + 1)], same, tries=5000)
    assert [one.lines[0] for one in left] == sorted(needed)


def test_tries_are_bounded() -> None:
    """However many pieces there are, no more judgements are made than allowed."""
    asked = 0

    def same(pieces: Sequence[Piece]) -> bool:
        nonlocal asked
        asked += 1
        return len(pieces) > 700

    minimal([piece(number) for number in range(2000)], same)
    assert asked <= MOST_TRIES


def test_one_line_of_a_long_log_decides() -> None:
    """Of nine hundred lines the one that carries the verdict is quoted, with its number and text."""
    report, said = of(LONG + FAILURE)
    assert report.verdict.step == "bus"
    assert [(one.line, one.text) for one in said.decisive] == [(LONG.count("\n") + 1, FAILURE.strip())]


def test_the_quoted_lines_alone_give_the_verdict() -> None:
    """A reader who sees only the quoted lines would say the same."""
    text = (
        "[ 1433.363473] usb 1-3: New USB device found, idVendor=1a86, idProduct=7523, bcdDevice= 2.64\n"
        "[ 1433.366841] usb 1-3: ch341-uart converter now attached to ttyUSB0\n"
        "[ 1433.990012] usb 1-3: usbfs: interface 0 claimed by ch341 while 'brltty' sets config #1\n"
        "[ 1433.990533] ch341-uart ttyUSB0: ch341-uart converter now disconnected from ttyUSB0\n"
        "Bus 001 Device 006: ID 1a86:7523 QinHeng Electronics CH340 serial converter\n"
    )
    report, said = of(text)
    again, _ = of("\n".join(one.text for one in said.decisive))
    assert word(again) == word(report)
    assert 0 < len(said.decisive) <= MOST_QUOTED


@pytest.mark.parametrize("text", ["", "hello\n", "My lamp is dark.\nWhat now?\n"])
def test_without_anything_the_first_commands_are_asked(text: str) -> None:
    """Where nothing was recognised, three commands begin the conversation."""
    _, said = of(text)
    assert not said.recognised
    assert said.ask == list(FIRST)


def test_nothing_is_asked_behind_a_break() -> None:
    """What lies behind the step that is named need not be known any more."""
    _, said = of("error: Failed to start domain 'hearth'\nerror: internal error: Did not find USB device 1209:7a01\n")
    assert not any("lsof" in command or "by-id" in command for command in said.ask)


def test_an_empty_part_is_evidence_too() -> None:
    """No piece at all makes evidence that is judged, so that leaving out never fails."""
    reading = read(FAILURE.encode())
    empty: Evidence = evidence([], reading.frame)
    assert judge(empty, RULES).verdict.state == "unseen"
