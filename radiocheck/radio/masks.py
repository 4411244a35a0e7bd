"""How much of a Wi-Fi transmitter's power falls into a receiver beside it.

Transmit masks are the most that a standard allows, in dB relative to the flat top; real
transmitters are usually better, so every figure from a mask is an upper bound.  The
share is the mask's integral over the receiver's filter, by the width of the flat top.

Sources: DSSS, IEEE Std 802.15.4-2006 §E.4.1.5 Table E.1 (which cites IEEE 802.11b-1999
§18.4.7.3); OFDM, HT20, HT40 and HE20 second-hand, quoting IEEE 802.11-2016 §17.3.9.3 and
§19.3.18.1 and §27.3.19.1; HE40 from memory.  Absolute floors (−53, −56 dBm/MHz) are left out.
"""

from __future__ import annotations

import math

from msgspec import Struct

from .units import NOTHING, decibels

RECEIVER_MHZ = 2.0  # IEEE Std 802.15.4-2006 §E.4.1.4: the receiver bandwidth that the annex assumes


class Mask(Struct, frozen=True):
    """Corners (offset in MHz, level in dB), linear in dB between; beyond the last one its level holds."""

    name: str
    top_mhz: float  # width by which the flat top stands for the whole power
    corners: tuple[tuple[float, float], ...]
    note: str = ""


MASKS: dict[str, Mask] = {
    "dsss": Mask("dsss", 22.0, ((0, 0), (11, 0), (11, -30), (22, -30), (22, -50))),
    "ofdm": Mask("ofdm", 18.0, ((0, 0), (9, 0), (11, -20), (20, -28), (30, -40))),
    "ht20": Mask("ht20", 18.0, ((0, 0), (9, 0), (11, -20), (20, -28), (30, -45))),
    "ht40": Mask("ht40", 38.0, ((0, 0), (19, 0), (21, -20), (40, -28), (60, -45))),
    "he20": Mask("he20", 19.5, ((0, 0), (9.75, 0), (10.5, -20), (20, -28), (30, -40))),
    "he40": Mask("he40", 39.0, ((0, 0), (19.5, 0), (20.5, -20), (40, -28), (60, -40)), "from memory"),
}


def mask_of(standard: str, width_mhz: float = 20.0) -> str:
    """Name of the mask of an 802.11 standard (b, g, n, ax) at a channel width; b and g have one only."""
    old = {"b": "dsss", "g": "ofdm"}.get(standard)
    return old or f"{'he' if standard == 'ax' else 'ht'}{'40' if width_mhz >= 40.0 else '20'}"


def level_db(mask: Mask, offset_mhz: float) -> float:
    """The mask at an offset in MHz from its centre, in dB relative to its top (0 or less); at a step the lower side."""
    offset = abs(offset_mhz)
    before, level = mask.corners[0]
    for at, height in mask.corners[1:]:
        if offset < at:
            return level + (height - level) * (offset - before) / (at - before) if at > before else height
        before, level = at, height
    return level


def share_db(mask: Mask, offset_mhz: float, width_mhz: float = RECEIVER_MHZ) -> float:
    """The share, in dB, of the transmitter's power in a rectangular filter `width_mhz` wide at an offset (MHz).

    An upper bound, since the mask is one; 0 dB would be all of it.
    Raises `ValueError` unless the width is above 0 and at most 100 MHz.
    """
    if not 0 < width_mhz <= 100:
        raise ValueError(f"a receiver filter of {width_mhz:g} MHz is outside 0 MHz to 100 MHz")
    low, high = offset_mhz - width_mhz / 2, offset_mhz + width_mhz / 2
    area = _area(mask, high) - _area(mask, low)
    return decibels(max(area, 0.0) / mask.top_mhz) if area > 0 else NOTHING


def _area(mask: Mask, to_mhz: float) -> float:
    """Integral of the mask as a ratio from its centre to an offset, in MHz; negative below the centre."""
    end, total = abs(to_mhz), 0.0
    before, level = mask.corners[0]
    for at, height in (*mask.corners[1:], (math.inf, mask.corners[-1][1])):
        stop = min(end, at)
        if stop > before:
            total += _slope(level, height, before, at, stop)
        if end <= at:
            break
        before, level = at, height
    return math.copysign(total, to_mhz)


def _slope(level: float, height: float, before: float, at: float, stop: float) -> float:
    """Integral of 10^(dB/10) where dB is linear from (before, level) to (at, height), up to `stop`."""
    length = stop - before
    steep = 0.0 if math.isinf(at) or at == before else (height - level) / (at - before) * math.log(10.0) / 10.0
    start = 10.0 ** (level / 10.0)
    return float(start * (math.expm1(steep * length) / steep if steep else length))
