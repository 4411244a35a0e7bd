"""What holds for every reader, whatever the text."""

from __future__ import annotations

import csv
import importlib
import pkgutil
import random
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import radiocheck.pastes.readers
from radiocheck.pastes.line import Line, lines
from radiocheck.pastes.piece import KINDS, Piece

from .said import SAMPLES

HERE = Path(__file__).parent
Read = Callable[[Sequence[Line]], Iterator[Piece]]
NAMES = [module.name for module in pkgutil.iter_modules(radiocheck.pastes.readers.__path__)]
MODULES = {name: importlib.import_module(f"radiocheck.pastes.readers.{name}") for name in NAMES}
READERS: dict[str, Read] = {name: module.read for name, module in MODULES.items()}

# Pieces of what programs print, and of what nobody expects; one a line, escaped as in Python.
FRAGMENTS = [row.encode().decode("unicode_escape") for row in (HERE / "fragments.txt").read_text().split("\n")[:-1]]
TEXTS = st.lists(st.one_of(st.sampled_from(FRAGMENTS), st.text(max_size=20)), max_size=30).flatmap(
    lambda parts: st.lists(
        st.sampled_from(["\n", "\n", " ", "", "\n\n"]), min_size=len(parts), max_size=len(parts)
    ).map(lambda gaps: "".join(part + gap for part, gap in zip(parts, gaps, strict=True)))
)


def check(text: bytes) -> None:
    """No reader raises; its pieces are of known kinds, and their lines are lines of the text, in order."""
    rows = lines(text)
    numbers = {row.number for row in rows}
    for name, read in READERS.items():
        for piece in read(rows):
            assert piece.kind in KINDS, name
            assert piece.lines, name
            assert set(piece.lines) <= numbers, name
            assert list(piece.lines) == sorted(set(piece.lines)), name


@settings(max_examples=150, deadline=None)
@given(TEXTS)
def test_no_text_makes_a_reader_raise(text: str) -> None:
    """Any mixture of fragments of programs' outputs and of anything else."""
    check(text.encode("utf-8", "surrogatepass"))


def corpus() -> list[bytes]:
    """All samples that the tests have."""
    found = [path.read_bytes() for path in sorted(SAMPLES.glob("*.txt"))]
    tables = [HERE / "app_words.tsv", HERE.parent / "kernel_older.tsv", HERE.parents[1] / "sources/kernel_messages.tsv"]
    for path in tables:
        with path.open(newline="") as file:
            rows = list(csv.reader(file, delimiter="\t", quoting=csv.QUOTE_NONE))
        found.append("\n".join(row[-1] for row in rows).encode())
    return [*found, "\n".join(FRAGMENTS).encode("utf-8", "surrogatepass")]


def test_no_damage_makes_a_reader_raise() -> None:
    """Samples with lines cut, swapped, joined and bytes changed; the seed is fixed."""
    chance = random.Random(5)
    for text in corpus():
        for _ in range(8):
            rows = text.split(b"\n")
            for _ in range(chance.randrange(1, 12)):
                at = chance.randrange(len(rows))
                damage = chance.randrange(5)
                if damage == 0:
                    rows[at] = rows[at][: chance.randrange(len(rows[at]) + 1)]
                elif damage == 1:
                    rows[at], rows[at // 2] = rows[at // 2], rows[at]
                elif damage == 2:
                    rows[at] += rows[at // 2]
                elif damage == 3:
                    rows[at] = rows[at].replace(b" ", b"", chance.randrange(4))
                else:
                    rows[at] = rows[at].replace(b"1", bytes([chance.randrange(256)]))
            check(b"\n".join(rows))


@pytest.mark.parametrize("name", NAMES)
def test_every_reader_is_tested_and_titled(name: str) -> None:
    """A test file of its own name, and the name of the program for the person."""
    assert (HERE / f"test_{name}.py").exists()
    title = MODULES[name].TITLE
    assert isinstance(title, str)
    assert title


LONG = 200_000  # characters
PATTERNS = [
    *'a1 .-:/"{(=|',
    *("usb 1-1: ", "1-1.", "1,", "1(a),", "12 34 ", "x: ", "/dev/ttyUSB0 ", "aa:", "x=1 ", "No such file "),
    *("Permission denied ", "<hostdev ", "ttyUSB0 -> ", "not in ", "E: A=", "qemu-system-x -", "crw-rw---- 1 root "),
    *("/sys/bus/usb/devices/", "2026-11-25 ", "cannot access ", "12:00:00 "),
]
SECONDS = 2.0  # for one such line, on a machine that others use: what grows with the square takes minutes


@pytest.mark.parametrize("name", NAMES)
def test_no_line_is_slow(name: str) -> None:
    """A line of 200,000 characters of one pattern, which would show a cost that grows with the square."""
    for pattern in PATTERNS:
        line = Line(1, (pattern * LONG)[:LONG] + "!")
        began = time.process_time()
        for _ in READERS[name]([line, line]):
            pass
        assert time.process_time() - began < SECONDS, pattern


@pytest.mark.parametrize("name", NAMES)
def test_no_number_of_lines_is_slow(name: str) -> None:
    """Ten times the lines take about ten times as long: fragments in any order, openings without an end."""
    chance = random.Random(5)
    some = ["$ lsusb", "<hostdev mode='x'>", *FRAGMENTS]
    rows = [row for text in chance.choices(some, k=4000) for row in text.split("\n")]
    took = []
    for count in (1, 10):
        many = [Line(number, row) for number, row in enumerate(rows * count, 1)]
        began = time.process_time()
        for _ in READERS[name](many):
            pass
        took.append(time.process_time() - began)
    assert took[1] < 40 * took[0] + 0.5
