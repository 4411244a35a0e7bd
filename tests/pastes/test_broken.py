"""Lines that were cut off, and lines that were left out."""

from __future__ import annotations

import pytest

from radiocheck.pastes.broken import balanced, is_cut, left_out


@pytest.mark.parametrize(
    ("text", "cut"),
    [
        ("abc>", True),
        ("abc...", True),
        ("abc [snip]", True),
        ("abc \\", True),
        ("abc", False),
        ("", False),
        ("a > b", False),
        ("1.0.", False),
    ],
)
def test_the_mark_of_a_cut(text: str, cut: bool) -> None:
    """A pager's, systemctl's, a person's, a shell's."""
    assert is_cut(text) is cut


@pytest.mark.parametrize(
    ("text", "out"),
    [
        ("...", True),
        ("[...]", True),
        ("(...)", True),
        ("<snip>", True),
        ("[ snip ]", True),
        ("-- cut --", True),
        ("", False),
        ("a...", False),
        (".", False),
        ("snip it", False),
    ],
)
def test_lines_left_out(text: str, out: bool) -> None:
    """Nothing but the mark."""
    assert left_out(text) is out


@pytest.mark.parametrize(
    ("text", "closed"), [('{"a": [1]}', True), ("", True), ('{"a"', False), ('"', False), ("it's", False)]
)
def test_what_is_closed(text: str, closed: bool) -> None:
    """Quotes, braces and brackets."""
    assert balanced(text) is closed
