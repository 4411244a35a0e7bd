"""Bytes with a parity bit, beside those without."""

from __future__ import annotations

import random

import pytest

from radiocheck.evidence.serial import AppMessage
from radiocheck.pastes.readers.parity import carried

from .said import values

TEXT = b"/ABC5METER1.0\r\n"


def coded(text: bytes, odd: bool = False) -> bytes:
    """Seven bits and parity, read as eight bits."""
    return bytes(byte | 128 if byte.bit_count() % 2 != odd else byte for byte in text)


def said(text: str) -> list[AppMessage]:
    """Messages."""
    found: list[AppMessage] = values("parity", text, "app")
    return found


def dump(data: bytes) -> str:
    """As `hexdump -C` shows it (hexdump(1))."""
    rows = [data[at : at + 16] for at in range(0, len(data), 16)]
    lines = (f"{16 * at:08x}  {row[:8].hex(' ')}  {row[8:].hex(' ')}".ljust(60) for at, row in enumerate(rows))
    return "".join(f"{line}|{'.' * 16}|\n" for line in lines)


@pytest.mark.parametrize("odd", [False, True])
def test_parity(odd: bool) -> None:
    """Both parities, as Python, a log and hexdump show them."""
    data = coded(TEXT, odd)
    kind = "parity-odd" if odd else "parity-even"
    for shown in (
        f">>> s.read(64)\n{data!r}\n",
        f"12:00:01 RX: {data.hex(' ')}\n",
        dump(data),
        f"received: {data!r}\n",
    ):
        (found,) = said(f">>> s = serial.Serial('/dev/ttyUSB0', 300)\n{shown}")
        assert (found.kind, found.path, found.text) == (kind, "/dev/ttyUSB0", "/ABC5METER1.0")


@pytest.mark.parametrize(
    "data",
    [
        TEXT,
        coded(TEXT)[:8],
        "Zähler größer früher".encode(),
        "Счётчик не отвечает".encode("cp1251"),
        bytes.fromhex("010300000002c40b0103043f800000f7cf"),
        coded(TEXT)[:-1] + b"\xff",
        b"\x00" * 20,
        b"\x81" * 20,
    ],
)
def test_bytes_without(data: bytes) -> None:
    """Plain text, a few bytes, other alphabets, a binary protocol, one byte that does not fit, noise."""
    assert carried(data) is None
    assert said(f"{data!r}\n") == []


def test_noise_has_none() -> None:
    """Of a hundred thousand random readings none is taken for text with parity; the seed is fixed."""
    chance = random.Random(5)
    assert not any(carried(chance.randbytes(12)) for _ in range(100_000))


def test_plain_text_takes_it_back() -> None:
    """After the port was set right; what is sent is no reading."""
    assert [one.kind for one in said(f"{coded(TEXT)!r}\n{TEXT!r}\n")] == ["parity-even", "answered"]
    assert [one.kind for one in said(f"{TEXT!r}\n{coded(TEXT)!r}\n")] == ["parity-even"]
    assert said(f">>> s.write({coded(TEXT)!r})\nTX: {coded(TEXT).hex(' ')}\n") == []
