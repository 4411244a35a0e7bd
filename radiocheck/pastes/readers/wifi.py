"""Lists of Wi-Fi networks: `iw dev … scan` and `nmcli dev wifi` (iw, scan.c; nmcli(1))."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "iw or nmcli"

_BSS = re.compile(r"^BSS (?P<bssid>(?:[0-9a-f]{2}:){5}[0-9a-f]{2})", re.IGNORECASE)
_CELL = re.compile(r"^\s{0,20}Cell \d{1,3} - Address: (?P<bssid>(?:[0-9A-F]{2}:){5}[0-9A-F]{2})", re.IGNORECASE)
_FIELDS = (
    ("freq_mhz", re.compile(r"^\s{1,40}(?:freq: |Frequency:(?=5\.|6\.))(\d{4})(?:\.\d)?\b")),
    ("channel", re.compile(r"^\s{1,40}(?:\* primary channel: |DS Parameter set: channel |Channel:)(\d{1,3})\b")),
    (
        "level_dbm",
        re.compile(r"^\s{1,40}(?:signal: |Quality=\S{1,12}\s{1,4}Signal level=)(-\d{1,3}(?:\.\d{1,2})?) dBm"),
    ),
    ("ssid", re.compile(r'^\s{1,40}(?:SSID: |ESSID:)"?(.{0,40}?)"?$')),
    ("utilisation", re.compile(r"^\s{1,40}\* channel utilisation: (\d{1,3})/255")),
    ("offset", re.compile(r"^\s{1,40}\* secondary channel offset: (\w{2,10})")),
)
_NMCLI = re.compile(
    r"^[*\s]{1,10}(?:(?P<bssid>(?:[0-9A-F]{2}:){5}[0-9A-F]{2})\s{1,8})?(?P<ssid>\S.{0,40}?)"
    r"\s{1,40}(?:Infra|Ad-Hoc|Mesh)\s{1,8}(?P<channel>\d{1,3})\s{1,8}\d{1,5} M[Bb]it/s\s{1,8}(?P<signal>\d{1,3})\s"
)
_BAND = range(1, 15)  # channels of 2.4 GHz


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Networks in the 2.4 GHz band; nmcli's signal is no dBm and is left out (nmcli(1): 0 to 100)."""
    found: dict[str, Any] = {}
    numbers: list[int] = []
    for line in lines:
        text = line.text[:300]
        if match := _BSS.match(text) or _CELL.match(text):
            yield from _network(found, numbers)
            found, numbers = {"bssid": match["bssid"].lower()}, [line.number]
        elif match := _NMCLI.match(text):
            yield from _network(found, numbers)
            found, numbers = {}, []
            if int(match["channel"]) in _BAND:
                values: dict[str, Any] = {"ssid": match["ssid"], "channel": int(match["channel"])}
                if match["bssid"]:
                    values["bssid"] = match["bssid"].lower()
                yield Piece("wifi", (line.number,), values)
        elif line.prompt is not None:
            yield from _network(found, numbers)
            found, numbers = {}, []
        elif found:
            for name, pattern in _FIELDS:
                if field := pattern.match(text):
                    found.setdefault(name, _read(name, field[1]))
                    numbers.append(line.number)
    yield from _network(found, numbers)


def _read(name: str, text: str) -> Any:
    if name in ("ssid", "offset"):
        return text
    return int(text) if name in ("channel", "utilisation") else float(text)


def _network(found: dict[str, Any], numbers: list[int]) -> Iterator[Piece]:
    """A network of the band, by its frequency or else its channel (IEEE 802.11: 2407 MHz + 5 MHz per channel)."""
    frequency = found.pop("freq_mhz", None)
    if frequency is not None and 2400 <= frequency <= 2500:
        found.setdefault("channel", 14 if frequency == 2484 else round((frequency - 2407) / 5))
    elif frequency is not None:
        return
    if found.get("channel") not in _BAND:
        return
    offset = found.pop("offset", None)
    if offset is not None:
        found["width_mhz"] = 40 if offset in ("above", "below") else 20
    yield Piece("wifi", tuple(dict.fromkeys(numbers)), found)
