"""Bytes as a block of text that survives being pasted.

Rows of `.NUMBER.PAYLOAD.CHECK`, so that the block can be found and put in order whatever was
done to line breaks, quotation marks, indentation or the words around it.  The payload is
base64 (RFC 4648, without padding): no letter of it means anything to Markdown or HTML.
Each row has a check of its own, which tells where the damage is, and the last rows belong to
a Reed-Solomon code (the `reedsolo` library): any row can be given back by any one of them.

    --- radiocheck evidence, format 1: 33 rows ---
    .1.…
    --- end ---

The bytes begin with a head: version, rows of data, length, and the SHA-256 of what follows, cut
to eight bytes.  The check tells accidents, not forgery: nothing is signed.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
import struct
import zlib
from collections.abc import Iterator, Sequence

from .store import Unreadable

VERSION = 1  # also of what the bytes are: evidence/posted.py
ROW = 51  # bytes in a row: 68 letters, and less than 79 with number and check
SPARE = 10  # one row for repair for each that many of data …
LEAST_SPARE = 3
GROUP = 200  # … within groups of so many rows; the code has 255 at most
MOST_ROWS = 20_000
TEXT_LIMIT = 8 << 20  # characters that are searched for a block

_HEAD = struct.Struct(">BHI8s")  # version, rows of data, length, digest
_BEGIN = re.compile(r"radiocheck evidence, format (?P<version>\d{1,4}): (?P<rows>\d{1,6}) rows", re.IGNORECASE)
_ROW = re.compile(r"\.(?P<number>\d{1,6})\.(?P<payload>[A-Za-z0-9+/]{68})\.(?P<check>[A-Za-z0-9+/]{4})")
_ROW_BEGIN = re.compile(r"\.\d{1,6}\.[A-Za-z0-9+/]{8}")  # nearly no other text has it
_NOISE = re.compile(r"[\s>|*`\u200b-\u200f\u00ad\ufeff\u2060\u0000]+")
_TAG = re.compile(r"</?[a-zA-Z][^<>]{0,2000}>")
# What a text has become inside JSON, in mail's quoted-printable, or by a Markdown editor that is careful
_ESCAPE = re.compile(r"=\r?\n|\\(?:[nrt]|u[0-9a-fA-F]{4}|(?=[^\w\s]))")
# Line numbers, and the time and name before a message, where a row was wrapped behind them
_MARGIN = re.compile(
    r"^[ \t>]{0,20}(?:\d{1,6}[:.)|]?(?:[ \t]+|$)"
    r"|[\[(]?\d{1,2}:\d\d(?::\d\d)?[\])]?[ \t]+(?:(?:<[^<>\n]{1,40}>|[\w.-]{1,30}:)[ \t]+)?)",
    re.MULTILINE,
)


def write(data: bytes) -> str:
    """The block for some bytes.  Raises `ValueError` when they need more rows than a block may have."""
    count = -(-(_HEAD.size + len(data)) // ROW)
    if count > MOST_ROWS:
        raise ValueError("too much for a block of text")
    body = (_HEAD.pack(VERSION, count, len(data), _digest(data)) + data).ljust(count * ROW, b"\0")
    rows = [body[start : start + ROW] for start in range(0, len(body), ROW)]
    rows += _spare_rows(rows)
    lines = [f"--- radiocheck evidence, format {VERSION}: {len(rows)} rows ---"]
    lines += [_line(number, row) for number, row in enumerate(rows, 1)]
    return "\n".join([*lines, "--- end ---"]) + "\n"


def text_of(data: bytes) -> str:
    """The text of a file, whatever wrote it; only as much as is searched for a block."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data[: 2 * TEXT_LIMIT].decode("utf-16", "replace")
    return data[:TEXT_LIMIT].decode("utf-8", "replace")


def holds_block(text: str) -> bool:
    """Whether there is something in the text that looks like a block, damaged or not."""
    text = text[:TEXT_LIMIT]
    if _BEGIN.search(_spaced(text)) is not None:
        return True
    return _ROW_BEGIN.search(text) is not None and len(_rows(text, 0)) > LEAST_SPARE


def read(text: str, name: str) -> bytes:
    """The bytes in the block of a text.  Raises `Unreadable` with one sentence that says where the damage is."""
    text = text[:TEXT_LIMIT]
    begins = list(_BEGIN.finditer(_spaced(text)))
    told = {int(begin["rows"]) for begin in begins}
    for version in sorted({int(begin["version"]) for begin in begins}):
        _check_version(version, name)
    if len(told) > 1:
        raise Unreadable(f"{name}: holds {len(told)} different blocks; give each in a file of its own")
    rows: dict[int, bytes] = {}
    for number, row in _rows(text, min(told, default=0)):
        if rows.setdefault(number, row) != row:
            raise Unreadable(f"{name}: holds two different blocks; give each in a file of its own")
    if not rows and not begins:
        raise Unreadable(f"{name}: holds no block of radiocheck evidence; copy the report whole, with its last lines")
    counts = _counts(rows, told)
    failed = None
    for count in counts:
        try:
            return _whole(rows, count, name)
        except Unreadable as error:
            failed = failed or error
    raise failed or Unreadable(f"{name}: a block of {max(told, default=0)} rows cannot be; copy the report again")


def _check_version(version: int, name: str) -> None:
    if version != VERSION:
        raise Unreadable(
            f"{name}: the block has format {version}, and this radiocheck reads format {VERSION}; "
            "use the version that made it, or a newer one"
        )


def _counts(rows: dict[int, bytes], told: set[int]) -> list[int]:
    """How many rows the block may have: as its first line or its head says, else near the highest that is there."""
    if told:
        return [count for count in told if LEAST_SPARE < count <= MOST_ROWS]
    last = max(rows)
    if 1 in rows:
        data = _HEAD.unpack_from(rows[1])[1]
        if 0 < data <= MOST_ROWS:
            return [_total(data)]
    return [count for count in range(last, last + last // SPARE + LEAST_SPARE + 1) if LEAST_SPARE < count <= MOST_ROWS]


def _whole(rows: dict[int, bytes], count: int, name: str) -> bytes:
    """The bytes from the rows that are there, of `count`."""
    data = _data_rows(count)
    lost = [number for number in range(1, count + 1) if number not in rows]
    found = {number: row for number, row in rows.items() if number <= data}
    if lost and lost[0] <= data:
        found |= _repaired(rows, count, data, lost, name)
    body = b"".join(found[number] for number in range(1, data + 1))
    version, said, length, digest = _HEAD.unpack_from(body)
    _check_version(version, name)
    content = body[_HEAD.size : _HEAD.size + length]
    if said != data or len(content) != length or _digest(content) != digest:
        raise Unreadable(f"{name}: the block's check sum does not fit its rows; copy the report again")
    return content


def _spaced(text: str) -> str:
    """The text with runs of blanks, line breaks and marks of quotation as single blanks."""
    return _NOISE.sub(" ", _TAG.sub("", text) if "<" in text else text)


def _rows(text: str, wanted: int) -> list[tuple[int, bytes]]:
    """The rows in a text whose check fits, each once; looks closer while fewer than `wanted` were found."""
    found: dict[tuple[int, bytes], None] = {}
    for variant in _variants(text):
        for match in _ROW.finditer(variant):
            number, row = int(match["number"]), _decoded(match["payload"])
            if row is not None and 0 < number <= MOST_ROWS and _check(number, row) == match["check"]:
                found[number, row] = None
        if wanted and len(found) >= wanted:
            break
    return list(found)


def _variants(text: str) -> Iterator[str]:
    """The text without what was put between its letters, by one thing that may have been done to it after the other."""
    yield _NOISE.sub("", text)
    plain = text
    if "&" in plain:
        from html import unescape

        plain = unescape(plain)
    if "<" in plain:
        plain = _TAG.sub("", plain)
    if plain is not text:
        yield _NOISE.sub("", plain)
    if "\\" in plain or "=\n" in plain or "=\r\n" in plain:
        plain = _ESCAPE.sub("", plain)
        yield _NOISE.sub("", plain)
    yield _NOISE.sub("", _MARGIN.sub("", plain))


def _spare_rows(rows: list[bytes]) -> list[bytes]:
    from reedsolo import RSCodec

    spare: list[bytes] = []
    for group in _groups(len(rows)):
        count = _spares(len(group))
        codec = RSCodec(count)
        columns = [
            bytes(codec.encode(bytes(rows[number - 1][place] for number in group)))[len(group) :]
            for place in range(ROW)
        ]
        spare += [bytes(column[place] for column in columns) for place in range(count)]
    return spare


def _groups(count: int) -> list[range]:
    """Rows of data, from 1, in groups; each has rows for repair of its own."""
    return [range(start, min(start + GROUP, count + 1)) for start in range(1, count + 1, GROUP)]


def _spares(count: int) -> int:
    return max(LEAST_SPARE, count // SPARE)


def _data_rows(count: int) -> int:
    """How many of `count` rows are data; `count` is more than `LEAST_SPARE`."""
    data = max(1, min(count - LEAST_SPARE, count * SPARE // (SPARE + 1) - 2))
    while _total(data + 1) <= count:
        data += 1
    return data


def _total(data: int) -> int:
    """All rows of a block with so many of data; one more row of data is at least one more of all."""
    return data + sum(_spares(len(group)) for group in _groups(data))


def _repaired(rows: dict[int, bytes], count: int, data: int, lost: list[int], name: str) -> dict[int, bytes]:
    """The rows of data in groups that lack some.  Raises `Unreadable` with the numbers when too many are lost."""
    from reedsolo import ReedSolomonError, RSCodec

    found: dict[int, bytes] = {}
    first, missing = data + 1, set(lost)
    for group in _groups(data):
        spares = range(first, first + _spares(len(group)))
        first = spares.stop
        members = [*group, *spares]
        gone = [place for place, number in enumerate(members) if number in missing]
        if not gone or gone[0] >= len(group):
            continue
        if len(gone) > len(spares):
            raise Unreadable(
                f"{name}: of the {count} rows of its block, {_shown([members[place] for place in gone])} are missing "
                f"or damaged, and {len(spares)} could be repaired; copy the report again, with these rows"
            )
        codec = RSCodec(len(spares))
        columns = []
        for place in range(ROW):
            word = bytes(rows[number][place] if number not in missing else 0 for number in members)
            try:
                columns.append(bytes(codec.decode(word, erase_pos=gone, only_erasures=True)[0]))
            except ReedSolomonError:
                raise Unreadable(f"{name}: the block is damaged beyond repair; copy the report again") from None
        for place, number in enumerate(group):
            found[number] = bytes(column[place] for column in columns)
    return found


def _shown(numbers: Sequence[int]) -> str:
    """Numbers in words: "3, 7 to 9"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return ", ".join(words[:12]) + (" and more" if len(words) > 12 else "")


def _line(number: int, row: bytes) -> str:
    return f".{number}.{base64.b64encode(row).decode('ascii')}.{_check(number, row)}"


def _check(number: int, row: bytes) -> str:
    """Four letters: the upper 24 bits of CRC-32 over the row's number and bytes."""
    value = zlib.crc32(number.to_bytes(4, "big") + row)
    return base64.b64encode((value >> 8).to_bytes(3, "big")).decode("ascii")


def _digest(data: bytes) -> bytes:
    return hashlib.sha256(data).digest()[:8]


def _decoded(payload: str) -> bytes | None:
    try:
        return base64.b64decode(payload, validate=True)
    except (binascii.Error, ValueError):
        return None
