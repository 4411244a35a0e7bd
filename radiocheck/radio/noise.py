"""Noise: thermal, of the receiver, and what a computer's USB 3 adds.

USB 3: the spectrum of a 5 Gb/s signal is flat to 0.28 dB over the band, by |sinc(f/rate)|,
so no channel escapes it.  How much of it reaches an antenna does not follow from any
published curve; the level is an assumption with a range, and a measurement settles it.
"""

from __future__ import annotations

import math

from .units import BOLTZMANN, decibels, power_sum

ROOM_K = 290.0  # kelvin, the usual reference


def thermal_dbm(bandwidth_mhz: float, temperature_k: float = ROOM_K) -> float:
    """kTB in dBm.  Raises `ValueError` unless both are above 0."""
    if not (bandwidth_mhz > 0 and temperature_k > 0):
        raise ValueError(f"bandwidth {bandwidth_mhz} MHz and temperature {temperature_k} K must be above 0")
    return decibels(BOLTZMANN * temperature_k * bandwidth_mhz * 1e6 * 1e3)


def receiver_floor_dbm(
    noise_figure_db: float, rise_db: float = 0.0, bandwidth_mhz: float = 2.0, temperature_k: float = ROOM_K
) -> float:
    """The noise floor of a receiver in dBm, lifted by `rise_db` of noise from outside."""
    return thermal_dbm(bandwidth_mhz, temperature_k) + noise_figure_db + rise_db


def rise_db(floor_dbm: float, extra_dbm: float) -> float:
    """How much an extra noise power (dBm, in the same bandwidth) lifts a floor, in dB from 0 up."""
    return power_sum((floor_dbm, extra_dbm)) - floor_dbm


def spectrum_db(freq_mhz: float, rate_gbps: float) -> float:
    """Level of a non-return-to-zero signal's spectrum at a frequency against that near 0 Hz, in dB: 20 log |sinc|.

    The rate is that on the wire, 5, 10 or 20 Gb/s.  Random data is assumed.  Raises `ValueError`
    for a frequency below 0 or a rate that is not above 0.
    """
    if not (freq_mhz >= 0 and rate_gbps > 0):
        raise ValueError(f"a spectrum at {freq_mhz} MHz of {rate_gbps} Gb/s is none; write both above 0")
    x = freq_mhz / (rate_gbps * 1e3)
    level = abs(math.sin(math.pi * x) / (math.pi * x)) if x else 1.0
    return 2.0 * decibels(level)


def range_factor(rise: float, exponent: float) -> float:
    """What is left of the range, 0 to 1, when the floor rises by `rise` dB and path loss has this exponent (n).

    The path may lose `rise` dB less, which it does at 10^(−rise / 10 n) of the distance.
    """
    if not exponent > 0:
        raise ValueError(f"a path loss exponent of {exponent} is not above 0")
    return float(10.0 ** (-rise / (10.0 * exponent)))
