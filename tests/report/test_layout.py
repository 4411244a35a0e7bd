"""Words on lines."""

from __future__ import annotations

import re
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from radiocheck.report.layout import Look, columns, cut, listed, wrap

SENTENCE = st.lists(st.text("abcdefgh/.", min_size=1, max_size=30), max_size=30).map(" ".join)


@given(SENTENCE, st.integers(10, 100), st.sampled_from(["", "  why   ", "  1. "]))
def test_wrapping_loses_no_word(text: str, width: int, first: str) -> None:
    """The words come out in their order, whole, and no line is too wide unless it is one word."""
    lines = wrap(text, width, first)
    assert " ".join(lines).split() == first.split() * bool(lines) + text.split()
    for line in lines:
        assert len(line) <= width or " " not in line.strip().removeprefix(first.strip()).strip()


@given(SENTENCE, st.integers(10, 100))
def test_wrapping_fills_lines(text: str, width: int) -> None:
    """A line is only broken where the next word would not fit."""
    lines = wrap(text, width)
    for line, after in pairwise(lines):
        assert len(line) + 1 + len(after.split()[0]) > width


def test_wrapping_hangs() -> None:
    """Further lines are indented as far as the first one's label is long."""
    assert wrap("aa bb cc", 7, "x: ") == ["x: aa", "   bb", "   cc"]


def test_wide_characters_take_two_columns() -> None:
    """Chinese characters are wide (Unicode Standard Annex 11), so half as many fit."""
    assert columns("菩提ab") == 6
    assert wrap("菩提 菩提 菩提", 9) == ["菩提 菩提", "菩提"]
    assert cut("菩提菩提", 6) == "菩提…"


def test_cut_marks_the_end() -> None:
    """What is cut ends with a mark, within the width."""
    assert cut("Mesh stick", 10) == "Mesh stick"
    assert cut("Mesh stick", 8) == "Mesh st…"
    assert cut("Mesh stick", 8, ascii=True) == "Mesh..."


def test_lists() -> None:
    """Words in a row read as English."""
    assert [listed(["a", "b", "c"][:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]


def test_ink_needs_a_colour_terminal() -> None:
    """Without colour a text stays as it is; with it, it is between SGR codes (ECMA-48 8.3.117)."""
    assert Look().paint("broken", "broken") == "broken"
    assert Look(colour=True).paint("broken", "no such ink") == "broken"
    assert re.fullmatch("\x1b\\[1;31mbroken\x1b\\[0m", Look(colour=True).paint("broken", "broken"))
