"""A report that is pasted carries its evidence with it: what is in the block, and how it is packed.

JSON by columns (`columns`), packed by DEFLATE (RFC 1951) with a dictionary of the words that
evidence is made of (`block_words.txt`).  The dictionary belongs to the block's format: another
one is another `block.VERSION`.
"""

from __future__ import annotations

import zlib
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from .columns import NotColumns, packed, unpacked
from .record import Evidence
from .store import Unreadable, load

LIMIT = 4 << 20  # bytes of JSON that a block may hold; a capture is seldom larger than 200 kB
NOT_OURS = "the block does not hold a report's evidence; copy the report again"


class Posted(Struct, frozen=True, kw_only=True):
    """What a pasted report was made of."""

    evidence: Evidence
    guest: Evidence | None = None  # the capture inside a VM that it was joined with
    adapter: str | None = None  # the report is only about this adapter …
    vm: str | None = None  # … or this VM's
    revealed: bool = False  # nothing was replaced by a stand-in


def write(posted: Posted) -> str:
    """The block.  Raises `ValueError` with a sentence when the evidence is too large for one."""
    from . import block  # who only judges a capture needs neither this nor what it imports

    tree = {key: value for key, value in msgspec.to_builtins(posted).items() if value not in (None, False)}
    data = msgspec.json.encode(packed(tree))
    if len(data) > LIMIT:
        raise ValueError("too much for a block of text")
    stream = zlib.compressobj(9, zlib.DEFLATED, -15, 9, zlib.Z_DEFAULT_STRATEGY, _dictionary())
    return block.write(stream.compress(data) + stream.flush())


def read(text: str, name: str) -> Posted:
    """What is in the block of a text.  Raises `Unreadable` with one sentence."""
    from . import block

    data = _inflated(block.read(text, name), name)
    try:
        tree = unpacked(msgspec.json.decode(data))
    except (msgspec.DecodeError, NotColumns, RecursionError):
        raise Unreadable(f"{name}: {NOT_OURS}") from None
    if not isinstance(tree, dict) or "evidence" not in tree:
        raise Unreadable(f"{name}: {NOT_OURS}")
    records = {key: load(msgspec.json.encode(tree[key]), name) for key in ("evidence", "guest") if key in tree}
    try:
        return msgspec.convert({**_rest(tree, name), **records}, Posted)
    except msgspec.ValidationError:
        raise Unreadable(f"{name}: {NOT_OURS}") from None


def rounded(evidence: Evidence) -> Evidence:
    """The evidence with times in whole milliseconds: no rule looks closer, and the rest packs badly."""
    return msgspec.convert(_rounded(msgspec.to_builtins(evidence)), Evidence)


def sizes(evidence: Evidence) -> list[tuple[str, int]]:
    """The parts of the evidence with the bytes that each needs when it is packed, the largest first."""
    tree = packed(msgspec.to_builtins(evidence))
    found = {key: len(zlib.compress(msgspec.json.encode(value), 9)) for key, value in tree.items()}
    return sorted(found.items(), key=lambda item: -item[1])


def _rest(tree: dict[str, Any], name: str) -> dict[str, Any]:
    rest = {key: value for key, value in tree.items() if key not in ("evidence", "guest")}
    if unknown := sorted(set(rest) - set(Posted.__struct_fields__)):
        raise Unreadable(f"{name}: its block says `{unknown[0][:40]}`, which this radiocheck does not know; update it")
    return rest


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, list) else value


def _inflated(data: bytes, name: str) -> bytes:
    """The JSON, never more than `LIMIT`."""
    stream = zlib.decompressobj(-15, _dictionary())
    try:
        found = stream.decompress(data, LIMIT + 1)
    except zlib.error:
        raise Unreadable(f"{name}: the block cannot be unpacked; copy the report again") from None
    if len(found) > LIMIT:
        raise Unreadable(f"{name}: the block unpacks to more than {LIMIT >> 20} MiB, which no report's does")
    if not stream.eof:
        raise Unreadable(f"{name}: the block cannot be unpacked; copy the report again")
    return found


@cache
def _dictionary() -> bytes:
    return Path(__file__).with_name("block_words.txt").read_bytes()
