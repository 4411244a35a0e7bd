"""The chain as a line that shows where it breaks.

The step names in order, each joined to the one before by a link that tells its state,
and below them the states in words, each where its stretch begins:

    --power--bus--driver--access--assignment-/ /-handover  guest  radio
      sound                                      broken    unreached

The glyphs are of ASCII, Latin-1 and code page 437, which the kernel's own console
fonts have.
"""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.chain.verdict import Step

from .layout import Look

LINKS = {"sound": "──", "weak": "~~", "broken": "─/ /─", "unseen": "··", "unreached": "  "}
ASCII_LINKS = {"sound": "--", "weak": "~~", "broken": "-/ /-", "unseen": "..", "unreached": "  "}
INDENT = "  "


def chain_line(steps: Sequence[Step], look: Look) -> list[str]:
    """Pairs of lines: the chain, and the states below it.  Steps that the route does not use are left out."""
    links = ASCII_LINKS if look.ascii else LINKS
    lines: list[str] = []
    row = _Row()
    for step in steps:
        if step.state == "unused":
            continue
        link = links[step.state]
        if row.steps and row.width_with(link, step) > look.width:
            lines += row.lines(look)
            row = _Row()
        row.add(link, step)
    return lines + (row.lines(look) if row.steps else [])


class _Row:
    """One row of the chain while it grows."""

    def __init__(self) -> None:
        self.steps: list[tuple[str, Step]] = []
        self.end = len(INDENT)  # column behind the last name
        self.words: list[tuple[int, str]] = []  # column and state

    def _place(self, link: str, step: Step) -> tuple[str, bool]:
        """The link, stretched so that the state words below do not touch; whether a word stands here."""
        named = not self.words or self.words[-1][1] != step.state
        if named and self.words:
            column, word = self.words[-1]
            link = link[0] * max(0, column + len(word) + 2 - self.end - len(link)) + link
        return link, named

    def width_with(self, link: str, step: Step) -> int:
        """The row's width in columns if this step were added."""
        link, named = self._place(link, step)
        return self.end + len(link) + max(len(step.step), len(step.state) if named else 0)

    def add(self, link: str, step: Step) -> None:
        """Add a step."""
        link, named = self._place(link, step)
        if named:
            self.words.append((self.end + len(link), step.state))
        self.steps.append((link, step))
        self.end += len(link) + len(step.step)

    def lines(self, look: Look) -> list[str]:
        """The row, and the states below."""
        upper, lower, at = INDENT, "", 0
        for link, step in self.steps:
            upper += look.paint(link, step.state) + look.paint(step.step, step.state)
        for column, word in self.words:
            lower += " " * (column - at) + look.paint(word, word)
            at = column + len(word)
        return [upper.rstrip(), lower]
