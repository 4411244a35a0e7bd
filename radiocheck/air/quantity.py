"""Quantities as they are written in `air.yaml`: a number and its unit, always both."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct

NUMBER = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*([^\d\s.,][^\d,]*)?")
SHOWN = 60  # characters of a person's own words that a complaint repeats
LONGEST_NAME = 64  # characters
SSID_OCTETS = 32  # IEEE Std 802.11, SSID element (clause number from memory: 9.4.2.2)


class Quantity(Struct, frozen=True):
    """A kind of quantity: its base unit, the units that may be written, and the range that makes sense."""

    what: str  # "a distance"
    unit: str
    low: float  # in the base unit
    high: float
    more: Mapping[str, float] = {}  # further units, and what one of them is in the base unit
    example: str = ""

    @property
    def units(self) -> dict[str, float]:
        """Every unit that may be written, as a factor to the base unit."""
        return {self.unit: 1.0, **self.more}

    def read(self, text: str) -> float:
        """The value in the base unit.  Raises `ValueError` with one sentence that says what to write instead."""
        plain = text.strip().replace("\N{MINUS SIGN}", "-")
        match = NUMBER.fullmatch(plain)
        if match is None:
            comma = NUMBER.fullmatch(plain.replace(",", ".", 1)) if "," in plain else None
            instead = comma.group() if comma is not None else self.example
            raise ValueError(f"`{_shown(text)}` is no number with a unit; write for instance `{instead}`")
        number, unit = match.groups()
        if not unit:
            if self.unit == "%":  # `0.2` is hardly meant as 0.2 %
                raise ValueError(f"`{_shown(text)}` has no unit; write it in per cent, such as `{self.example}`")
            others = f", or {self._units()}" if self.more else ""
            raise ValueError(f"`{_shown(text)}` has no unit; write `{number} {self.unit}`{others}")
        factor = self.units.get(unit)
        if factor is None:
            same = next((name for name in self.units if name.casefold() == unit.casefold()), None)
            instead = f"`{number} {same}`" if same else self._units()
            raise ValueError(f"`{_shown(unit)}` is no unit of {self.what}; write {instead}")
        value = float(number) * factor
        if not self.low <= value <= self.high:
            raise ValueError(
                f"{self.what} of {_shown(text)} is outside {self.low:g} {self.unit} to {self.high:g} {self.unit}"
            )
        return value

    def schema(self) -> dict[str, Any]:
        """JSON Schema of the written form."""
        units = "|".join(re.escape(unit) for unit in self.units)
        return {
            "type": "string",
            "pattern": rf"^\s*[+\-−]?[0-9]+(\.[0-9]+)?\s*({units})\s*$",
            "description": f"{self.what}, {self.low:g} {self.unit} to {self.high:g} {self.unit}",
            "examples": [self.example],
        }

    def _units(self) -> str:
        names = list(self.units)
        return "the number and " + (names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}")


DISTANCE = Quantity("a distance", "m", 0.1, 1000.0, {"cm": 0.01, "ft": 0.3048}, "7.5 m")
THICKNESS = Quantity("a thickness", "mm", 1.0, 2000.0, {"cm": 10.0, "m": 1000.0, "in": 25.4}, "115 mm")
EXTENSION = Quantity("an extension cable", "m", 0.1, 5.0, {"cm": 0.01, "ft": 0.3048}, "1.5 m")
FREQUENCY = Quantity("a centre frequency", "MHz", 2400.0, 2500.0, {"GHz": 1000.0}, "2437 MHz")
LEVEL = Quantity("a level", "dBm", -110.0, 0.0, {}, "-55 dBm")
POWER = Quantity("a transmit power", "dBm", -20.0, 20.0, {}, "5 dBm")
LOSS = Quantity("a loss", "dB", 0.0, 100.0, {}, "6 dB")
RISE = Quantity("a noise rise", "dB", 0.0, 40.0, {}, "12 dB")
CHANGE = Quantity("a noise change", "dB", -40.0, 40.0, {}, "+15 dB")
ANGLE = Quantity("an angle", "degrees", 0.0, 89.0, {"degree": 1.0, "°": 1.0}, "30 degrees")
AIR_TIME = Quantity("a share of air time", "%", 0.0, 100.0, {}, "30 %")


def whole(text: str, low: int, high: int, what: str) -> int:
    """A whole number.  Raises `ValueError` with the allowed range."""
    if not re.fullmatch(r"[+-]?\d{1,9}", text.strip()):
        raise ValueError(f"`{_shown(text)}` is no whole number; write {low} to {high}")
    number = int(text)
    if not low <= number <= high:
        raise ValueError(f"{what} {number} is outside {low} to {high}")
    return number


def choice(text: str, words: Iterable[str], what: str, others: Mapping[str, str] | None = None) -> str:
    """One of some words; `others` are words that people use for them.  Raises `ValueError` with the nearest."""
    allowed = list(words)
    word = " ".join(text.split())
    if word in allowed:
        return word
    known = {**{name.casefold(): name for name in allowed}, **(others or {})}
    instead = known.get(word.casefold())
    if instead is None:
        near = difflib.get_close_matches(word.casefold(), list(known), 1)
        instead = known[near[0]] if near else None
    advice = f"write `{instead}`" if instead else f"write one of {', '.join(allowed)}"
    raise ValueError(f"`{_shown(word)}` is no {what}; {advice}")


def name(text: str) -> str:
    """A name of a person's own.  Raises `ValueError` for what cannot be shown on one line."""
    _printable(text)
    if not text.strip():
        raise ValueError("a name is empty; write one")
    if len(text) > LONGEST_NAME:
        raise ValueError(f"a name has {len(text)} characters; write at most {LONGEST_NAME}")
    return text


def ssid(text: str) -> str:
    """The name of a Wi-Fi network.  Raises `ValueError` for control characters and more than 32 octets."""
    _printable(text)
    octets = len(text.encode("utf-8", "surrogatepass"))
    if octets > SSID_OCTETS:
        raise ValueError(f"a network's name has {octets} octets; an SSID has at most {SSID_OCTETS}")
    return text


def _printable(text: str) -> None:
    """Refuse what a terminal would obey or not show (Unicode categories C and Z but for the space)."""
    for char in text:
        if char != " " and unicodedata.category(char)[0] in "CZ":
            raise ValueError(
                f"a name holds the character U+{ord(char):04X}, which is not shown; write printable characters only"
            )


def _shown(text: str) -> str:
    return text if len(text) <= SHOWN else text[:SHOWN] + "…"
