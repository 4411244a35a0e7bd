"""Path loss with distance, in dB; distances in m, frequencies in MHz."""

from __future__ import annotations

import math

from .units import LIGHT

NEAREST_M = 0.1  # nearer than about a wavelength no formula here holds
FARTHEST_M = 1000.0
MOST_FLOORS = 10

# ITU-R P.1238-9 Table 2 (quoted second-hand): 10 times the exponent at 2.4 GHz; commercial as in ns-3 at any frequency.
EXPONENTS = {"residential": 28.0, "office": 30.0, "commercial": 22.0}
# Newer form, ITU-R P.1238-13 eq. (1) and Table 2, and -12 for line of sight (both second-hand):
# alpha, beta, gamma, sigma.
NEWER = {"office": (2.39, 30.13, 2.40, 5.01), "office in sight": (1.46, 34.62, 2.03, 3.76)}


def free_space_db(distance_m: float, freq_mhz: float) -> float:
    """Free space: 20 log10(4 π d / λ), isotropic antennas, from 0.1 m (about a wavelength) to 1 km."""
    return 20.0 * math.log10(4.0 * math.pi * _distance(distance_m) * freq_mhz * 1e6 / LIGHT)


def annex_db(distance_m: float) -> float:
    """The two-slope model of IEEE Std 802.15.4-2006 §E.4.1.1: exponent 2 to 8 m, 3.3 beyond.

    The printed constants leave a step of 0.24 dB at 8 m, and do not say which holds there; the nearer one does here.
    """
    distance = _distance(distance_m)
    if distance <= 8.0:
        return 40.2 + 20.0 * math.log10(distance)
    return 58.5 + 33.0 * math.log10(distance / 8.0)


def indoor_db(distance_m: float, freq_mhz: float, site: str = "residential", floors: int = 0) -> float:
    """ITU-R P.1238, form up to its edition 9: 20 log f + N log d + Lf(n) − 28, from 1 m on.

    N at 2.4 GHz as quoted from Table 2 of edition 9; the floor terms Lf are those of
    1.8–2 GHz as ns-3 has them.  `site`: residential, office or commercial.
    """
    of_floors = floor_db(floors, site)
    distance = max(_distance(distance_m), 1.0)
    return 20.0 * math.log10(freq_mhz) + EXPONENTS[site] * math.log10(distance) + of_floors - 28.0


def floor_db(floors: int, site: str = "residential") -> float:
    """Loss of `floors` floors in dB: 4 n residential, 15 + 4 (n − 1) office, 6 + 3 (n − 1) commercial.

    ITU-R P.1238 at 1.8 to 2 GHz, as ns-3 has it (itu-r-1238-propagation-loss-model.cc).
    """
    if site not in EXPONENTS:
        raise ValueError(f"`{site}` is no site of ITU-R P.1238; write {', '.join(EXPONENTS)}")
    if not 0 <= floors <= MOST_FLOORS:
        raise ValueError(f"{floors} floors are outside 0 to {MOST_FLOORS}")
    if floors == 0:
        return 0.0
    first, more = {"residential": (4.0, 4.0), "office": (15.0, 4.0), "commercial": (6.0, 3.0)}[site]
    return first + more * (floors - 1)


def indoor_newer_db(distance_m: float, freq_mhz: float, site: str = "office") -> float:
    """ITU-R P.1238, form of editions 12 and 13, eq. (1): 10 α log d + β + 10 γ log f (GHz); median, one floor."""
    if site not in NEWER:
        raise ValueError(f"`{site}` is not in the newer ITU-R P.1238; write {' or '.join(NEWER)}")
    alpha, beta, gamma, _ = NEWER[site]
    return 10.0 * alpha * math.log10(_distance(distance_m)) + beta + 10.0 * gamma * math.log10(freq_mhz / 1e3)


def _distance(distance_m: float) -> float:
    if not NEAREST_M <= distance_m <= FARTHEST_M:
        raise ValueError(f"a distance of {distance_m:g} m is outside {NEAREST_M:g} m to {FARTHEST_M:g} m")
    return distance_m
