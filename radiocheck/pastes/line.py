"""A paste as numbered, cleaned lines.

Everything in it is hostile.  What could steer a terminal or hide text is removed here, so
that readers see plain words; what a reader concludes is still escaped where it is shown.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from msgspec import Struct

BYTES_LIMIT = 8 << 20  # a paste that a person makes has some hundred kilobytes
LINES_LIMIT = 200_000
LINE_LIMIT = 4_000  # characters; the command line of a VM has some thousand

# ECMA-48: CSI and OSC sequences, and the other two-character escapes.
_ESCAPE = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]{0,500}(?:\x07|\x1b\\)?|[@-Z\\-_])")
_INVISIBLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff\ufffe]")
_PLAIN = str.maketrans(
    {
        "\u00a0": " ",
        "\u202f": " ",
        "\u2018": "'",
        "\u2019": "'",
        "\u201c": '"',
        "\u201d": '"',
        "\u201e": '"',
        "\u2013": "-",
        "\u2014": "-",
        "\u2212": "-",
        "\u2026": "...",
    }
)
_BREAK = re.compile(r"<br\s{0,4}/?>|</(?:p|div|li|tr)>", re.IGNORECASE)
_TAG = re.compile(
    r"</?(?:pre|code|p|div|span|li|ul|ol|tr|td|b|i|em|strong|blockquote|font|a|html|body)(?:\s[^<>]{0,300})?>", re.I
)
_ENTITY = re.compile(r"&(?:[a-z]{2,6}|#\d{1,6}|#x[0-9a-f]{1,5});", re.IGNORECASE)
_QUOTE = re.compile(r"^ ?(?:>{1,4} ?)+")  # "|__" begins a line of `lsusb -t`
_CHAT = re.compile(r"^\[?\d{1,2}:\d\d(?::\d\d)?\]? {0,2}<[ @+]?[\w.\[\]^`|-]{1,24}> ?")  # who said it, and when
_FENCE = re.compile(r"^\s*(?:```|~~~)[\w-]{0,20}\s*$|^\s*\[/?(?:code|quote)[^\]]{0,40}\]\s*$", re.IGNORECASE)
# `user@host:~$ `, `root@host#`, `[user@host dir]$ `, `$ `, `# ` before a word that could be a program.
_PROMPT = re.compile(
    r"^(?:\([\w.-]{1,40}\) ?)?"
    r"(?:\[(?:\U0001f4e6 )?[\w.-]{1,64} (?:[~/][^$#%\]]{0,80}|[\w.-]{1,40})\](?=[$#] )"  # without @; in a flatpak
    r"|\[?[\w.-]{1,40}@[\w.-]{1,64}[^$#%\]]{0,80}\]?|[\w.-]{1,30}:[~/][^$#%]{0,80}|[\w.-]{1,30}:|~"
    r"|(?:guest|host|vm|hypervisor|gast|wirt|client|server|root|user)\d{0,2}(?= ?[$#] )"
    r"|[\w.-]{1,40} ~\S{0,60}(?= [$#] )"
    r"|/(?:(?:app|code|config|data|src|work)[\w/-]{0,40})?(?= # ))?"  # busybox in a container names no host
    # The last three are of other shells' themes.
    r"(?:\s?[$#%] ?|[~/]\S{0,60} >>> |\u279c {1,3}\S{1,60} (?:git:\(\S{1,40}\) )?(?:\u2717 )?|\u276f )"
    r"(?P<command>[a-z/.][^\n]{0,1000})$"
)
_ROOT_WORDS = re.compile(r"^(?:sudo|doas|su -c)\s+(?:-\w+\s+)?")


class Line(Struct, frozen=True):
    """One line: its number as the person sees it (from 1), its cleaned text, and the command of a shell prompt.

    `depth`: how many marks of quotation stood before it.
    """

    number: int
    text: str
    prompt: str | None = None
    depth: int = 0


def lines(data: bytes) -> list[Line]:
    """Cut a paste into lines.  Raises `ValueError` with one sentence when it is larger than the bounds."""
    if len(data) > BYTES_LIMIT:
        raise ValueError(f"is larger than {BYTES_LIMIT >> 20} MiB; paste only the part around the trouble")
    rows = _text(data).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(rows) > LINES_LIMIT:
        raise ValueError(f"has more than {LINES_LIMIT:,} lines; paste only the part around the trouble")
    found: list[Line] = []
    for number, row in enumerate(rows, 1):
        for part, depth in _parts(row[:LINE_LIMIT]):
            found.append(Line(number, part, command(part), depth))
    return found


def command(text: str) -> str | None:
    """The command behind a shell prompt, without the word that makes it root's; None where there is no prompt."""
    match = _PROMPT.match(text.strip())
    return _ROOT_WORDS.sub("", match["command"]).strip() if match else None


def unquoted(rows: Iterable[str]) -> list[str]:
    """Rows without marks of quotation."""
    return [_QUOTE.sub("", row) for row in rows]


def _text(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _parts(row: str) -> list[tuple[str, int]]:
    """A row as one line, or as several where HTML breaks it; each with the depth of its quotation."""
    if "\x1b" in row:
        row = _ESCAPE.sub("", row)
    if "<" in row:
        row = _TAG.sub("", _BREAK.sub("\n", row))
    if "&" in row:
        from html import unescape

        row = _ENTITY.sub(lambda match: unescape(match[0]), row)
    row = _INVISIBLE.sub("", row.replace("\t", "        ") if "\t" in row[:1] else row).translate(_PLAIN)
    return [_unmarked(part) for part in row.split("\n") if not _FENCE.match(part)] or [("", 0)]


def _unmarked(part: str) -> tuple[str, int]:
    if said := _CHAT.match(part):
        part = part[said.end() :]
    marks = _QUOTE.match(part)
    return (part[marks.end() :].rstrip(), marks[0].count(">")) if marks else (part.rstrip(), 0)
