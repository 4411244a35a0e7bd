"""Decibels and the constants of nature.

Powers are in dBm (decibels above 1 mW) or mW, ratios in dB, frequencies in MHz,
distances in m.  Constants: CODATA 2018 (exact by the SI of 2019).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

BOLTZMANN = 1.380649e-23  # J/K, exact
LIGHT = 299_792_458.0  # m/s, exact
PERMITTIVITY = 8.8541878128e-12  # F/m, of vacuum, CODATA 2018
NOTHING = -math.inf  # dBm of no power at all


def ratio(db: float) -> float:
    """A ratio from decibels; minus infinity gives 0."""
    return float(10.0 ** (db / 10.0))


def decibels(of: float) -> float:
    """Decibels of a ratio ≥ 0; 0 gives minus infinity.  Raises `ValueError` for anything else."""
    if not of >= 0:
        raise ValueError(f"a power or ratio of {of} is none; write one from 0 up")
    return 10.0 * math.log10(of) if of > 0 else NOTHING


def power_sum(dbm: Iterable[float]) -> float:
    """The level in dBm of independent powers together: they add in mW; none gives minus infinity."""
    return decibels(math.fsum(ratio(level) for level in dbm))


def wavelength_m(freq_mhz: float) -> float:
    """Wavelength in m in free space.  Raises `ValueError` unless the frequency is above 0."""
    if not freq_mhz > 0:
        raise ValueError(f"a frequency of {freq_mhz} MHz is not above 0")
    return LIGHT / (freq_mhz * 1e6)
