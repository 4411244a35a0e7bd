"""Thermal noise and what adds to it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from radiocheck.radio import noise


@pytest.mark.parametrize(
    ("bandwidth", "kelvin", "dbm"),
    [
        (1e-6, 290.0, -173.975187194),
        (1.0, 290.0, -113.975187194),
        (2.0, 290.0, -110.964887238),
        (5.0, 290.0, -106.985487151),
        (20.0, 290.0, -100.964887238),
        (1e-6, 300.0, -173.827954626),
        (2.0, 300.0, -110.817654669),
    ],
)
def test_thermal_noise(bandwidth: float, kelvin: float, dbm: float) -> None:
    """10 log10(kTB / 1 mW) with the exact Boltzmann constant, recomputed with SciPy's."""
    assert 10 * math.log10(constants.k * kelvin * bandwidth * 1e6 / 1e-3) == pytest.approx(dbm, abs=1e-9)
    assert noise.thermal_dbm(bandwidth, kelvin) == pytest.approx(dbm, abs=1e-9)


def test_ns3s_noise_floor() -> None:
    """ns-3, lr-wpan.rst: −106.987 dBm in 5 MHz at 290 K, with its k of 1.3803e-23."""
    ours = noise.thermal_dbm(5.0) + 10 * math.log10(1.3803e-23 / 1.380649e-23)
    assert ours == pytest.approx(-106.987, abs=0.001)


def test_what_the_standard_allows_a_receiver() -> None:
    """IEEE Std 802.15.4-2006 §6.5.3.3 and §E.3.2.1: −85 dBm at 5 to 6 dB leaves 20 to 21 dB of noise and losses."""
    assert -85.0 - 6.0 - noise.thermal_dbm(2.0) == pytest.approx(20.0, abs=0.05)
    assert noise.receiver_floor_dbm(20.0) + 5.0 < -85.0 < noise.receiver_floor_dbm(21.0) + 5.0


def test_usb3_noise_is_flat_over_the_band() -> None:
    """|sinc(f/5 GHz)| is −3.58 to −3.87 dB over 2400–2483.5 MHz: no channel escapes.

    The figure's shape: USB 3.0 RFI white paper 327216-001, Fig. 2-1, known by its caption only.
    """
    assert noise.spectrum_db(2400.0, 5.0) == pytest.approx(-3.58, abs=0.01)
    assert noise.spectrum_db(2440.0, 5.0) == pytest.approx(-3.72, abs=0.01)
    assert noise.spectrum_db(2483.5, 5.0) == pytest.approx(-3.87, abs=0.01)


@pytest.mark.parametrize(("rate", "db"), [(10.0, -0.87), (20.0, -0.21)])
def test_faster_usb_is_flatter(rate: float, db: float) -> None:
    """The same at 10 and 20 Gb/s, at 2440 MHz."""
    assert noise.spectrum_db(2440.0, rate) == pytest.approx(db, abs=0.01)


def test_spectrum_ends() -> None:
    """It starts at 0 dB, and has its first null at the bit rate."""
    assert noise.spectrum_db(0.0, 5.0) == 0.0
    assert noise.spectrum_db(5000.0, 5.0) < -250


def test_equal_noise_lifts_a_floor_by_3_db() -> None:
    """10 log10(2) dB."""
    assert noise.rise_db(-100.0, -100.0) == pytest.approx(3.0103, abs=1e-4)


@given(st.floats(-120, -60), st.floats(-200, -20))
def test_noise_never_lowers_a_floor(floor: float, extra: float) -> None:
    """What is added lifts, at least by what it is above the floor."""
    assert noise.rise_db(floor, extra) >= max(extra - floor, 0.0) - 1e-9


@pytest.mark.parametrize(("exponent", "left"), [(2.0, 0.1), (3.3, 0.248)])
def test_range_that_20_db_leave(exponent: float, left: float) -> None:
    """10^(−20/(10 n)): a tenth in free space, a quarter at the annex's exponent of 3.3."""
    assert noise.range_factor(20.0, exponent) == pytest.approx(left, abs=5e-4)


def test_numbers_that_are_none() -> None:
    """Bandwidths, temperatures, rates and exponents are above 0."""
    for bandwidth, kelvin in ((0.0, 290.0), (2.0, 0.0), (math.nan, 290.0)):
        with pytest.raises(ValueError, match="must be above 0"):
            noise.thermal_dbm(bandwidth, kelvin)
    for freq, rate in ((-1.0, 5.0), (2440.0, 0.0), (math.nan, 5.0)):
        with pytest.raises(ValueError, match="write both above 0"):
            noise.spectrum_db(freq, rate)
    with pytest.raises(ValueError, match="not above 0"):
        noise.range_factor(20.0, 0.0)
