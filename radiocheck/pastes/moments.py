"""Listings of different moments: what a later complete list no longer has is gone.

People list before and after a replug.  Pieces come in the order of their lines, and the
lines of a `whole` piece are those of its list.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from radiocheck.evidence.serial import Link

from .piece import Piece

_KINDS = {"links": "link", "ttys": "tty", "usb": "device"}  # field → kind of its pieces


def current(pieces: Sequence[Piece]) -> list[Piece]:
    """The pieces, without those that stand before the last complete list of their field and are not in it."""
    gone: set[int] = set()
    for field, kind in _KINDS.items():
        lists = [piece for piece in pieces if piece.kind == "whole" and piece.value == field]
        if not lists:
            continue
        rows = set(lists[-1].lines)
        of_kind = [piece for piece in pieces if piece.kind == kind]
        listed = {_key(piece.value) for piece in of_kind if rows & set(piece.lines)}
        for piece in of_kind:
            key = _key(piece.value)
            if key is not None and key not in listed and piece.lines[-1] < lists[-1].lines[0]:
                gone.add(id(piece))
    return [piece for piece in pieces if id(piece) not in gone] if gone else list(pieces)


def _key(value: Any) -> Any:
    """What a list knows a thing by; None when this piece does not say it."""
    if isinstance(value, Link):
        return value.path
    if "bus" in value or "devnum" in value:
        return (value["bus"], value["devnum"]) if "bus" in value and "devnum" in value else None
    return value.get("name") if "node" in value or "udev" in value else None
