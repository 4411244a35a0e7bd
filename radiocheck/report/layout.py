"""Words on lines: display width, wrapping, and ink that only helps."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import NamedTuple

# SGR parameters (ECMA-48 8.3.117).  Every state is also written as a word.
INK = {"broken": "1;31", "weak": "33", "sound": "32", "unseen": "36", "bold": "1", "quiet": "2"}


class Look(NamedTuple):
    """How the text may look: columns, whether SGR colours and more than ASCII may be used."""

    width: int = 80
    colour: bool = False
    ascii: bool = False

    def paint(self, text: str, ink: str) -> str:
        """The text in that ink, unchanged when there is no colour or no such ink."""
        if not self.colour or not text or ink not in INK:
            return text
        return f"\x1b[{INK[ink]}m{text}\x1b[0m"

    def paint_all(self, lines: Sequence[str], ink: str) -> list[str]:
        """Each line in that ink, so that a pager that cuts between lines keeps it right."""
        return [self.paint(line, ink) for line in lines]


def columns(text: str) -> int:
    """Terminal columns of an escaped text: wide characters (Unicode annex 11: W, F) take two."""
    if text.isascii():
        return len(text)
    return sum(2 if unicodedata.east_asian_width(char) in "WF" else 1 for char in text)


def cut(text: str, width: int, ascii: bool = False) -> str:
    """The text in at most `width` columns, its end replaced by a mark when it is longer."""
    if columns(text) <= width:
        return text
    mark = "..." if ascii else "…"
    while text and columns(text) + len(mark) > width:
        text = text[:-1]
    return text.rstrip() + mark


def wrap(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    """The words of a text on lines of at most `width` columns.

    The first line begins with `first`, the others with `rest` (default: as many
    spaces).  A word that is longer than a line stays whole: paths and serial numbers
    are there to be copied.
    """
    rest = " " * columns(first) if rest is None else rest
    lines: list[str] = []
    line, empty = first, True
    for word in text.split():
        gap = "" if empty else " "
        if not empty and columns(line) + 1 + columns(word) > width:
            lines.append(line)
            line, gap = rest, ""
        line += gap + word
        empty = False
    if not empty or first.strip():
        lines.append(line.rstrip())
    return lines


def listed(words: Sequence[str]) -> str:
    """Words in a row: `a`, `a and b`, `a, b and c`; empty for none."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else list(words))


def verbatim(command: str, indent: int) -> list[str]:
    """A command's lines, never wrapped, set in by some columns.

    With a here-document they start at the first column: its end mark counts only there
    (POSIX shell, 2.7.4), and the command is there to be copied.
    """
    space = "" if "<<" in command else " " * indent
    return [space + line if line else "" for line in command.split("\n")]
