"""Words of a text that a complaint repeats."""

from __future__ import annotations

LONGEST = 60  # characters


def one_line(text: str) -> str:
    """The text with a mark in place of every line end and control character."""
    return "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text)


def shown(text: str) -> str:
    """The text between backquotes, on one line and cut; whoever prints it escapes it for the terminal."""
    return f"`{one_line(text)}`" if len(text) <= LONGEST else f"`{one_line(text[:LONGEST])}…`"
