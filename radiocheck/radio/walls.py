"""What a wall takes: the slab of ITU-R P.2040 for material, thickness and angle.

Permittivity and conductivity: ITU-R P.2040 Table 3, as coded in sionna-rt 2.2.0 (the
recommendation itself was not read); slab: §2.2.2, eqs 37, 43 and 44 by the numbers given there.
Losses are not monotonic in thickness: a slab resonates.  Real walls differ by several dB.
"""

from __future__ import annotations

import cmath
import math
from functools import lru_cache

from .units import PERMITTIVITY, decibels, wavelength_m

# εr' = a f^b, σ = c f^d S/m, f in GHz; valid from … to … GHz.
MATERIALS: dict[str, tuple[float, float, float, float, float, float]] = {
    "concrete": (5.24, 0.0, 0.0462, 0.7822, 1.0, 100.0),
    "brick": (3.91, 0.0, 0.0238, 0.16, 1.0, 40.0),
    "plasterboard": (2.73, 0.0, 0.0085, 0.9395, 1.0, 100.0),
    "wood": (1.99, 0.0, 0.0047, 1.0718, 0.001, 100.0),
    "glass": (6.31, 0.0, 0.0036, 1.3394, 0.1, 100.0),
    "ceiling board": (1.48, 0.0, 0.0011, 1.0750, 1.0, 100.0),
    "chipboard": (2.58, 0.0, 0.0217, 0.7800, 1.0, 100.0),
    "plywood": (2.71, 0.0, 0.33, 0.0, 1.0, 40.0),
    "marble": (7.074, 0.0, 0.0055, 0.9262, 1.0, 60.0),
    "metal": (1.0, 0.0, 1e7, 0.0, 1.0, 100.0),
}
# Single samples measured at 2.3 GHz, in dB: R. Wilson, report E10589, 2002, Table 3 (quoted second-hand).
MEASURED_DB = {"drywall": 0.49, "glass": 0.50, "fir lumber": 2.79, "dry red brick": 4.44, "dry cinder block": 6.71}
OPAQUE_DB = 200.0  # what is lost in more than this is lost
THICKEST_M = 2.0


def permittivity(material: str, freq_mhz: float) -> complex:
    """Complex relative permittivity.  Raises `ValueError` for an unknown material or a frequency outside its fit."""
    if material not in MATERIALS:
        raise ValueError(f"`{material}` is no known material; write one of {', '.join(MATERIALS)}")
    a, b, c, d, low, high = MATERIALS[material]
    ghz = freq_mhz / 1e3
    if not low <= ghz <= high:
        raise ValueError(f"the values for {material} hold from {low:g} to {high:g} GHz, not at {ghz:g} GHz")
    conductivity = c * ghz**d
    return complex(a * ghz**b, -conductivity / (2.0 * math.pi * freq_mhz * 1e6 * PERMITTIVITY))


def slab_db(material: str, thickness_m: float, freq_mhz: float = 2440.0, angle_deg: float = 0.0) -> float:
    """Loss in dB through a slab, mean of both polarisations' powers; `angle_deg` from the normal, 0 to 89.

    Up to 2 m thick, plane waves, air on both sides; 200 dB is given for whatever loses more.
    Raises `ValueError` for an unknown material, and for sizes, angles and frequencies outside their range.
    """
    return -decibels(
        (
            10 ** (-slab_te_db(material, thickness_m, freq_mhz, angle_deg) / 10)
            + 10 ** (-slab_tm_db(material, thickness_m, freq_mhz, angle_deg) / 10)
        )
        / 2
    )


def slab_te_db(material: str, thickness_m: float, freq_mhz: float = 2440.0, angle_deg: float = 0.0) -> float:
    """Loss in dB, electric field perpendicular to the plane of incidence."""
    return _loss(material, thickness_m, freq_mhz, angle_deg, te=True)


def slab_tm_db(material: str, thickness_m: float, freq_mhz: float = 2440.0, angle_deg: float = 0.0) -> float:
    """Loss in dB, electric field in the plane of incidence."""
    return _loss(material, thickness_m, freq_mhz, angle_deg, te=False)


@lru_cache(maxsize=1024)
def _loss(material: str, thickness_m: float, freq_mhz: float, angle_deg: float, te: bool) -> float:
    if not 0.0 < thickness_m <= THICKEST_M:
        raise ValueError(f"a wall of {thickness_m:g} m is outside 0 m to {THICKEST_M:g} m")
    if not 0.0 <= angle_deg <= 89.0:
        raise ValueError(f"an angle of {angle_deg:g} degrees is outside 0 to 89 (0 is straight through)")
    eta = permittivity(material, freq_mhz)
    sine, cosine = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    root = cmath.sqrt(eta - sine**2)
    reflected = (cosine - root) / (cosine + root) if te else (eta * cosine - root) / (eta * cosine + root)
    q = 2.0 * math.pi * thickness_m / wavelength_m(freq_mhz) * root
    if -q.imag > OPAQUE_DB / 8.685889638:  # nepers; the exponential would underflow
        return OPAQUE_DB
    through = (1.0 - reflected**2) * cmath.exp(-1j * q) / (1.0 - reflected**2 * cmath.exp(-2j * q))
    return min(-2.0 * decibels(abs(through)), OPAQUE_DB)
