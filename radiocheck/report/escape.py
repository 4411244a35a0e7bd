"""What devices, logs and configurations say, made harmless to show.

A USB string, a process name or a log line can hold terminal controls, bidirectional
overrides or invisible characters.  They are shown as `\\xNN`, `\\uNNNN` or `\\UNNNNNNNN`.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Any, TypeVar

import msgspec

from radiocheck.chain.verdict import Report

Record = TypeVar("Record", bound=msgspec.Struct)

LONG = 2000  # characters of one text that are shown
NAME = 200  # characters of a name that are shown; a USB string has at most 126 (USB 2.0, 9.6.7)

# Letters and symbols that draw nothing although Unicode calls them printable.
INVISIBLE = frozenset("\u115f\u1160\u3164\uffa0\u2800")

# The typography of our own texts, for terminals that only have ASCII.
TYPED = str.maketrans({
    "–": "-", "—": "-", "‑": "-", "−": "-", "…": "...", "’": "'", "‘": "'", "“": '"', "”": '"', "„": '"',
    "§": "clause ", "→": "->", "←": "<-", "×": "x", "≥": ">=", "≤": "<=", "≈": "~", "·": ".", "µ": "u", "─": "-",
})  # fmt: skip

_PLAIN = re.compile(r"[\x20-\x7e]*")
_SPACE = re.compile(r"\s*\n\s*")

# Sentences of rules, which may be written over several lines.
_PROSE = frozenset(
    """do why seen title looks_like interrupts caution check gives_up sentence because provide""".split()
)
_NAMES = frozenset({"label", "vid", "pid", "manufacturer", "product", "serial", "port", "by_id", "tty", "vms", "rule"})


def escape(text: str, ascii: bool = False, limit: int = LONG) -> str:
    """One line that shows every character of the text, cut to `limit` characters.

    What is left is printable (Unicode categories L, N, P, S and the space) and draws
    something by itself; combining marks are escaped, since a pile of them hides its
    neighbours.  With `ascii`, so is everything beyond ASCII except usual typography.
    """
    rest = len(text) - limit
    if rest > 0:
        text = text[:limit]
    if not _PLAIN.fullmatch(text):
        if ascii:
            text = text.translate(TYPED)
        text = "".join(char if shown(char, ascii) else code(char) for char in text)
    if rest > 0:
        text += f"{'...' if ascii else '…'} ({rest} more characters)"
    return text


def shown(char: str, ascii: bool = False) -> bool:
    """Whether a character may reach the screen as it is."""
    if char <= "\x7e":
        return char >= " "
    return not ascii and char.isprintable() and unicodedata.category(char)[0] != "M" and char not in INVISIBLE


def code(char: str) -> str:
    """The visible code of a character, as Python and C write it."""
    number = ord(char)
    if number < 0x100:
        return f"\\x{number:02x}"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"


def prose(text: str, ascii: bool = False) -> str:
    """A sentence that may have been written over several lines, as one escaped line."""
    return escape(_SPACE.sub(" ", text.strip()), ascii)


def command(text: str, ascii: bool = False) -> str:
    """A command or configuration: its lines kept, never cut.

    A part of a command can do something else than the whole; one that is too long to
    be shown is not shown at all.
    """
    if len(text) > LONG:
        return f"(too long to show: {len(text)} characters; --format json has it)"
    return "\n".join(escape(line, ascii) for line in text.strip("\n").split("\n"))


def harmless(report: Report, ascii: bool = False) -> Report:
    """The report with every string escaped, so that no field can be forgotten."""
    return msgspec.convert(_walk(msgspec.to_builtins(report), "", ascii), Report)


def harmless_record(record: Record, ascii: bool = False) -> Record:
    """Any record with every string escaped."""
    return msgspec.convert(_walk(msgspec.to_builtins(record), "", ascii), type(record))


def _walk(value: Any, key: str, ascii: bool) -> Any:
    if isinstance(value, str):
        if key in ("command", "configuration"):
            return command(value, ascii)
        if key in _PROSE:
            return prose(value, ascii)
        return escape(value, ascii, NAME if key in _NAMES else LONG)
    if isinstance(value, list):
        return [_walk(item, key, ascii) for item in value]
    if isinstance(value, dict):
        return {name: _walk(item, name, ascii) for name, item in value.items()}
    return value
