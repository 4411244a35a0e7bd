"""Decibels and constants."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from radiocheck.radio import units

LEVELS = st.floats(-200, 100)


def test_constants_are_those_of_codata() -> None:
    """Boltzmann's constant and the speed of light are exact in the SI of 2019; ε0 is of CODATA 2018 or later."""
    assert constants.k == units.BOLTZMANN
    assert constants.c == units.LIGHT
    assert constants.epsilon_0 == pytest.approx(units.PERMITTIVITY, rel=1e-9)


def test_two_equal_powers_are_3_db_more() -> None:
    """10 log10(2) = 3.0103 dB."""
    assert units.power_sum([-80.0, -80.0]) == pytest.approx(-76.98970004336019, abs=1e-12)


def test_no_power_at_all() -> None:
    """Nothing adds up to nothing, and nothing is added to something."""
    assert units.power_sum([]) == -math.inf
    assert units.power_sum([-90.0, units.NOTHING]) == pytest.approx(-90.0)
    assert units.ratio(units.NOTHING) == 0.0


@given(st.lists(LEVELS, min_size=1, max_size=20))
def test_a_sum_is_not_below_its_largest_part(levels: list[float]) -> None:
    """A sum of n powers lies between the largest and n times it."""
    total = units.power_sum(levels)
    assert max(levels) - 1e-9 <= total <= max(levels) + 10 * math.log10(len(levels)) + 1e-9


@given(LEVELS)
def test_decibels_and_ratio_are_inverse(level: float) -> None:
    """One undoes the other."""
    assert units.decibels(units.ratio(level)) == pytest.approx(level, abs=1e-9)


def test_wavelength() -> None:
    """λ = 12.287 cm at 2440 MHz, from the speed of light."""
    assert units.wavelength_m(2440.0) == pytest.approx(299792458 / 2440e6)
    assert units.wavelength_m(2440.0) == pytest.approx(0.12287, abs=5e-6)


@pytest.mark.parametrize("value", [-1.0, math.nan])
def test_powers_that_are_none(value: float) -> None:
    """A power below 0, or one that is not a number, is refused."""
    with pytest.raises(ValueError, match="write one from 0 up"):
        units.decibels(value)


@pytest.mark.parametrize("freq", [0.0, -2440.0, math.nan])
def test_frequencies_that_are_none(freq: float) -> None:
    """So is a frequency that is not above 0."""
    with pytest.raises(ValueError, match="not above 0"):
        units.wavelength_m(freq)
