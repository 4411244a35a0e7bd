"""Tables that fit their width."""

from __future__ import annotations

import pytest

from radiocheck.report.layout import Look, columns
from radiocheck.report.table import table

HEAD = ["", "MHz", "dBm", "where"]
ROWS = [["hall lamp", "2437", "-48", "beside the stairs, inside a network"], ["見える灯", "2462", "-63", "none"]]


def test_side_by_side() -> None:
    """Numbers are flush right, words flush left; wide characters take two columns."""
    assert table(HEAD, ROWS, Look(80), (0, 3)) == [
        "              MHz  dBm  where",
        "  hall lamp  2437  -48  beside the stairs, inside a network",
        "  見える灯   2462  -63  none",
    ]


def test_last_column_is_wrapped() -> None:
    """A last column of words takes several lines where the row does not fit."""
    lines = table(HEAD, ROWS, Look(50), (0, 3))
    assert lines[1:3] == ["  hall lamp  2437  -48  beside the stairs, inside", " " * 24 + "a network"]


def test_first_column_is_cut() -> None:
    """A long name is cut, with a mark, when that makes the row fit."""
    lines = table(["", "dBm"], [["a" * 40, "-48"]], Look(40))
    assert lines[1] == "  " + "a" * 32 + "…  -48"


def test_stacked() -> None:
    """Where nothing helps, each row stands below the other, its cells named."""
    assert table(HEAD, ROWS, Look(30), (0, 3))[:4] == [
        "  hall lamp",
        "    MHz 2437; dBm -48; where",
        "    beside the stairs, inside",
        "    a network",
    ]


@pytest.mark.parametrize("width", range(30, 100, 7))
def test_never_too_wide(width: int) -> None:
    """No line is wider than the look, as long as its words are not."""
    assert all(columns(line) <= width for line in table(HEAD, ROWS, Look(width), (0, 3)))


def test_empty() -> None:
    """Without rows there is no table, and without head words no head."""
    assert table(HEAD, [], Look()) == []
    assert table(["", ""], [["a", "1"]], Look()) == ["  a  1"]
