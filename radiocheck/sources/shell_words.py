"""A shell text, read as the commands in it.  Pure: nothing is run and nothing is expanded.

Syntax: POSIX.1-2017, Shell Command Language, 2.2 Quoting, 2.3 Token Recognition, 2.7
Redirection.  Python's shlex is no help here: it keeps the newline of a line continuation,
takes a `#` within a word for a comment, and does not tell `'$x'` from `$x`.
"""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

_PIECE = r"""
      (?P<plain>     [^\s'"\\$`;&|<>()\#]++ )
    | (?P<blank>     [^\S\n]++ )
    | (?P<joined>    \\\n )
    | (?P<newline>   \n )
    | (?P<single>    '[^']*+' )
    | (?P<double>    "(?:[^"\\]|\\.)*+" )
    | (?P<escape>    \\. )
    | (?P<nested>    [$<>]\( )
    | (?P<redirect>  <<[<-]? | >[>|] | [<>]& | <> | [<>] )
    | (?P<operator>  [;&|()]++ )
    | (?P<expansion> \$(?:\w++|[{@*\#?$!-]|'(?:[^'\\]|\\.)*+') | `(?:[^`\\]|\\.)*+` )
    | (?P<dollar>    \$ )
    | (?P<hash>      \# )
    """
_ESCAPED = r'\\([$`"\\\n])'  # the only ones within double quotes (2.2.3)
_EXPANDS = r"(?<!\\)(?:\\\\)*(?:\$[\w{(@*#?$!-]|`)"


@cache
def _piece() -> re.Pattern[str]:
    """Compiled when it is first needed: a check loads every module of this package, and few need this one."""
    return re.compile(_PIECE, re.VERBOSE | re.DOTALL)


class Command(NamedTuple):
    """The words of one command; `expanded` are the positions that hold something only a shell can work out."""

    words: list[str]
    expanded: frozenset[int]


class _Draft:
    """The command that is being read."""

    def __init__(self) -> None:
        self.words: list[str] = []
        self.expanded: set[int] = set()
        self.parts: list[str] | None = None  # of the word that is being read
        self.target = False  # the next word belongs to a redirection

    def add(self, text: str, expanded: bool = False) -> None:
        if self.parts is None:
            self.parts = []
        self.parts.append(text)
        if expanded and not self.target:
            self.expanded.add(len(self.words))

    def end_word(self) -> None:
        if self.parts is None:
            return
        if not self.target:
            self.words.append("".join(self.parts))
        self.parts, self.target = None, False

    def redirect(self) -> None:
        if self.parts is not None and "".join(self.parts).isdecimal():
            self.parts = None  # the number of a file descriptor
        self.end_word()
        self.target = True


def commands(text: str) -> list[Command]:
    """The simple commands of the text in order.

    Raises `ValueError` (one sentence, with the line) when a quotation is never closed.
    """
    found: list[Command] = []
    draft = _Draft()
    at = 0
    pattern = _piece()
    while at < len(text):
        match = pattern.match(text, at)
        if match is None:  # the pattern leaves over an opening quotation mark, and a last backslash
            raise ValueError(f"line {_line(text, at)}: a quotation is opened and never closed")
        kind, piece, start, at = match.lastgroup, match.group(), at, match.end()
        if kind in ("plain", "dollar") or (kind == "hash" and draft.parts is not None):
            draft.add(piece)
        elif kind == "blank":
            draft.end_word()
        elif kind == "single":
            draft.add(piece[1:-1])
        elif kind == "double":
            draft.add(re.sub(_ESCAPED, _unescaped, piece[1:-1]), re.search(_EXPANDS, piece) is not None)
        elif kind == "escape":
            draft.add(piece[1:])
        elif kind == "hash":
            end = text.find("\n", at)
            at = len(text) if end < 0 else end
        elif kind in ("expansion", "nested"):
            at = _closing(text, at) if kind == "nested" else at
            draft.add(text[start:at], expanded=True)
        elif kind == "redirect":
            draft.redirect()
        elif kind in ("newline", "operator"):
            _end(draft, found)
            draft = _Draft()
    _end(draft, found)
    return found


def _line(text: str, at: int) -> int:
    return text.count("\n", 0, at) + 1


def _end(draft: _Draft, found: list[Command]) -> None:
    draft.end_word()
    if draft.words:
        found.append(Command(draft.words, frozenset(draft.expanded)))


def _unescaped(match: re.Match[str]) -> str:
    return "" if match[1] == "\n" else match[1]


def _closing(text: str, at: int) -> int:
    """The place behind the parenthesis that closes the one before `at`; the end of the text when none does."""
    depth = 1
    for match in re.compile("[()]").finditer(text, at):
        depth += 1 if match.group() == "(" else -1
        if depth == 0:
            return match.end()
    return len(text)
