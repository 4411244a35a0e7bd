"""Bytes that were read from a port and carry a parity bit: seven bits of text, and the eighth makes all counts alike.

A port that is set to seven bits and parity hands on seven bits; one that is set to eight bits
without parity hands on the sender's parity bit as the highest one (termios(3), CSIZE and
PARENB).  By chance a dozen bytes have the same parity in one of 2048 cases, and are printable
text with an end besides in far fewer.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.evidence.serial import AppMessage
from radiocheck.pastes.line import Line
from radiocheck.pastes.node_names import node_in, node_named
from radiocheck.pastes.piece import Piece

TITLE = "bytes that were read"

_READ = 800  # characters of a line that are looked at
_LEAST = 12  # bytes
_ENOUGH = 16  # without an end
_MARKED = 3  # of them with the highest bit
_PLAIN = 6  # bytes of plain text show that a later reading was right
_CONTROL = frozenset(b"\t\r\n\x01\x02\x03\x04\x06\x15")  # of ASCII, in messages: SOH STX ETX EOT ACK NAK
_ENDS = frozenset(b"\r\n\x03")  # one of them ends a message

_GOT = r"(?:^|[\s\]])(?:rx|recv|received|read|got|<{1,3}|<-)[:=\s]{1,4}"
_LITERAL = re.compile(
    rf"(?:^\s{{0,8}}|{_GOT})b(?:'(?P<one>(?:\\.|[^'\\]){{0,700}})'|\"(?P<two>(?:\\.|[^\"\\]){{0,700}})\")\s{{0,4}}$",
    re.IGNORECASE,
)
_ESCAPED = re.compile(r"\\x([0-9a-f]{2})|\\(.)|([\x20-\x7e])", re.IGNORECASE)
_SIGNS = {"n": 10, "r": 13, "t": 9, "\\": 92, "'": 39, '"': 34}
_PAIRS = re.compile(
    rf"{_GOT}(?P<hex>(?:[0-9a-f]{{2}} ){{11,64}}[0-9a-f]{{2}})\s{{0,4}}$",
    re.IGNORECASE,
)
# hexdump -C and xxd: an offset, bytes, and what of them can be printed
_DUMP = re.compile(
    r"^\s{0,8}(?P<at>[0-9a-f]{8})(?::|  )\s{0,2}(?P<hex>(?:[0-9a-f]{2} {0,2}){1,16})(?:\s{2,40}|\s?\|)\S", re.I
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """A message where bytes carry parity, and `answered` where plain text came later."""
    found = False
    port: str | None = None
    dumped: list[tuple[int, bytes]] = []
    for line in [*lines, Line(0, "")]:
        text = (line.prompt if line.prompt is not None else line.text)[:_READ]
        dump = _DUMP.match(text) if line.prompt is None else None
        if dump:
            dumped.append((line.number, bytes.fromhex(dump["hex"].replace(" ", ""))))
            continue
        readings = [(tuple(number for number, _ in dumped), b"".join(part for _, part in dumped))] if dumped else []
        dumped = []
        if line.prompt is None and (data := _bytes(text)):
            readings.append(((line.number,), data))
        for numbers, data in readings:
            parity = carried(data)
            kind = f"parity-{parity}" if parity else "answered" if found and _is_plain(data) else None
            if kind is not None:
                found = parity is not None
                yield Piece("app", numbers, AppMessage(kind=kind, path=port, text=_words(data)))
        port = node_in(text) or node_named(text) or port


def carried(data: bytes) -> str | None:
    """The parity, `even` or `odd`, that all bytes have as their eighth bit; None where they are something else."""
    if len(data) < _LEAST or sum(byte > 127 for byte in data) < _MARKED:
        return None
    text = bytes(byte & 127 for byte in data)
    letters = sum(chr(byte).isalnum() for byte in text)
    if not all(32 <= byte < 127 or byte in _CONTROL for byte in text) or 2 * letters < len(text) or _is_utf8(data):
        return None
    if len(data) < _ENOUGH and not _ENDS.intersection(text[-2:]):  # ETX has a check byte behind it
        return None
    odd = {byte.bit_count() % 2 for byte in data}
    return {frozenset({0}): "even", frozenset({1}): "odd"}.get(frozenset(odd))


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return True


def _is_plain(data: bytes) -> bool:
    return len(data) >= _PLAIN and all(32 <= byte < 127 or byte in _CONTROL for byte in data)


def _bytes(text: str) -> bytes:
    """What a line shows as read: a literal of Python's, or pairs of hexadecimal digits behind a word for reading."""
    if match := _PAIRS.search(text):
        return bytes.fromhex(match["hex"])
    match = _LITERAL.search(text)
    if match is None:
        return b""
    found = bytearray()
    for code, sign, plain in _ESCAPED.findall(match["one"] or match["two"] or ""):
        if code:
            found.append(int(code, 16))
        elif sign:
            found.append(_SIGNS.get(sign, 92))
        else:
            found.append(ord(plain))
    return bytes(found)


def _words(data: bytes) -> str:
    text = "".join(chr(byte & 127) if 32 <= byte & 127 < 127 else " " for byte in data)
    return " ".join(text.split())[:200]
