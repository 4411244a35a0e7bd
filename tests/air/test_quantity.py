"""Quantities: a number and its unit, always both."""

from __future__ import annotations

import re

import pytest

from radiocheck.air import quantity as q


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        (q.DISTANCE, "7.5 m", 7.5),
        (q.DISTANCE, "7.5m", 7.5),
        (q.DISTANCE, "30 cm", 0.3),
        (q.DISTANCE, "10 ft", 3.048),  # 1 ft = 0.3048 m, exact (international foot)
        (q.THICKNESS, "12.5 mm", 12.5),
        (q.THICKNESS, "0.2 m", 200.0),
        (q.LEVEL, "-67 dBm", -67.0),
        (q.LEVEL, "−67 dBm", -67.0),  # a true minus sign, as other programs print it
        (q.CHANGE, "+15dB", 15.0),
        (q.FREQUENCY, "2.437 GHz", 2437.0),
        (q.ANGLE, "30°", 30.0),
        (q.AIR_TIME, "30 %", 30.0),
    ],
)
def test_read(kind: q.Quantity, text: str, value: float) -> None:
    """A quantity is read in its base unit, with or without a blank before the unit."""
    assert kind.read(text) == pytest.approx(value, abs=1e-9)
    assert re.search(kind.schema()["pattern"], text)


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        (q.DISTANCE, "7.5", "`7.5` has no unit; write `7.5 m`, or the number and m, cm or ft"),
        (q.LEVEL, "-50", "`-50` has no unit; write `-50 dBm`"),
        (q.LEVEL, "-50 dbm", "`dbm` is no unit of a level; write `-50 dBm`"),
        (q.DISTANCE, "3 miles", "`miles` is no unit of a distance; write the number and m, cm or ft"),
        (q.DISTANCE, "1,5 m", "`1,5 m` is no number with a unit; write for instance `1.5 m`"),
        (q.DISTANCE, "far", "`far` is no number with a unit; write for instance `7.5 m`"),
        (q.DISTANCE, "", "`` is no number with a unit; write for instance `7.5 m`"),
        (q.DISTANCE, "1e3 m", "`1e3 m` is no number with a unit; write for instance `7.5 m`"),
        (q.AIR_TIME, "0.3", "`0.3` has no unit; write it in per cent, such as `30 %`"),
        (q.DISTANCE, "-3 m", "a distance of -3 m is outside 0.1 m to 1000 m"),
        (q.THICKNESS, "9 m", "a thickness of 9 m is outside 1 mm to 2000 mm"),
        (q.EXTENSION, "7 m", "an extension cable of 7 m is outside 0.1 m to 5 m"),
    ],
)
def test_refused(kind: q.Quantity, text: str, said: str) -> None:
    """What is no quantity is refused in one sentence that says what to write, or the allowed range."""
    with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
        kind.read(text)


def test_long_words_are_cut() -> None:
    """A complaint does not repeat a whole book."""
    with pytest.raises(ValueError, match="is no number") as caught:
        q.DISTANCE.read("x" * 100_000)
    assert len(str(caught.value)) < 200


def test_huge_number() -> None:
    """A number with thousands of digits is out of range like any other."""
    with pytest.raises(ValueError, match=r"outside 0\.1 m to 1000 m"):
        q.DISTANCE.read("9" * 5000 + " m")


@pytest.mark.parametrize("char", ["\x1b", "\x00", "\u202e", "\u200b", "\ud800", "\n", "\u2028"])
def test_names_are_printable(char: str) -> None:
    """Controls, overrides and invisible characters are named by their code point and refused."""
    for reads in (q.name, q.ssid):
        with pytest.raises(ValueError, match=rf"U\+{ord(char):04X}"):
            reads(f"a{char}b")


def test_ssid_is_counted_in_octets() -> None:
    """An SSID has at most 32 octets (IEEE Std 802.11, SSID element), not characters."""
    assert q.ssid("ü" * 16) == "ü" * 16
    with pytest.raises(ValueError, match="34 octets; an SSID has at most 32"):
        q.ssid("ü" * 17)


def test_choice_names_the_nearest() -> None:
    """A misspelt word is answered with the word that looks most like it, another with all of them."""
    with pytest.raises(ValueError, match="`brik` is no known material; write `brick`"):
        q.choice("brik", ["brick", "glass"], "known material")
    with pytest.raises(ValueError, match="write one of brick, glass"):
        q.choice("xyzzy", ["brick", "glass"], "known material")
