"""What one reader says of a text, and what a program prints under a testbed."""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from radiocheck.pastes.line import lines
from radiocheck.pastes.piece import Piece
from tests.sources.umock import under

SAMPLES = Path(__file__).parent / "samples"


def said(reader: str, text: str | bytes) -> list[Piece]:
    """The pieces that a reader finds in a paste."""
    data = text if isinstance(text, bytes) else text.encode()
    found: list[Piece] = list(importlib.import_module(f"radiocheck.pastes.readers.{reader}").read(lines(data)))
    return found


def values(reader: str, text: str | bytes, kind: str) -> list[Any]:
    """The values of one kind of piece."""
    return [piece.value for piece in said(reader, text) if piece.kind == kind]


def sample(name: str) -> str:
    """A recorded output."""
    return (SAMPLES / f"{name}.txt").read_text()


def printed(bed: str, *argv: str) -> str:
    """What a program prints under a testbed."""
    return under(f"{bed}.umockdev", argv=argv).stdout


def typed(prompt: str, output: str) -> str:
    """A command at a prompt, and what it printed."""
    return f"mira@gable:~$ {prompt}\n{output}"


def by_name(values_: Sequence[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Devices by their sysfs name."""
    return {value["name"]: value for value in values_ if "name" in value}
