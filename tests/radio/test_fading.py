"""Shadowing against SciPy's normal distribution."""

from __future__ import annotations

import math
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from radiocheck.radio import fading
from radiocheck.radio.ber import CLIFF_HIGH_DB, CLIFF_LOW_DB, frame_error_rate
from radiocheck.radio.mac import delivered

SIGMA = st.floats(0.05, 15)


@given(st.floats(-60, 60), SIGMA)
def test_chance(margin: float, sigma: float) -> None:
    """The normal distribution of a margin, above 0."""
    assert fading.chance(margin, sigma) == pytest.approx(stats.norm.sf(0, margin, sigma), abs=1e-12)


@given(st.floats(0.001, 0.999), SIGMA)
def test_margin_for_a_chance(probability: float, sigma: float) -> None:
    """The inverse: 90 % need 1.2816 sigma, 99 % 2.3263."""
    margin = fading.margin_for(probability, sigma)
    assert margin == pytest.approx(stats.norm.ppf(probability, scale=sigma), abs=1e-9)
    assert fading.chance(margin, sigma) == pytest.approx(probability, abs=1e-9)


def test_without_spread() -> None:
    """A spread of 0 dB leaves a yes or no, and the curve's own value."""
    assert (fading.chance(0.0, 0.0), fading.chance(-0.1, 0.0), fading.margin_for(0.9, 0.0)) == (1.0, 0.0, 0.0)
    assert list(fading.cells(3.0, 0.0, -12.0, 4.0)) == [(3.0, 1.0)]


@given(st.floats(-100, 100), SIGMA, st.floats(-50, 0), st.floats(0.1, 100))
def test_cells_are_all_there_is(median: float, sigma: float, low: float, width: float) -> None:
    """Chances add up to 1, and points lie within the bounds or one step beyond."""
    found = list(fading.cells(median, sigma, low, low + width))
    assert math.fsum(share for _, share in found) == pytest.approx(1.0, abs=1e-12)
    assert all(share >= 0 for _, share in found)
    step = min(fading.WIDEST_CELL_DB, sigma / 2)
    assert all(low - step <= at <= low + width + step for at, _ in found)


@given(st.floats(-30, 30), st.floats(0.5, 15))
def test_cells_have_the_spread(median: float, sigma: float) -> None:
    """Without bounds in the way mean and standard deviation are those asked for."""
    found = list(fading.cells(median, sigma, median - 200, median + 200))
    mean = math.fsum(at * share for at, share in found)
    assert mean == pytest.approx(median, abs=1e-5)
    assert math.fsum((at - mean) ** 2 * share for at, share in found) == pytest.approx(sigma**2, rel=1e-4)


def lost(octets: int, sinr_db: float) -> float:
    """A curve as steep as any here: lost after all retries."""
    return 1.0 - delivered(1.0 - frame_error_rate(sinr_db, octets))


@pytest.mark.parametrize("octets", [5, 60, 127])
@pytest.mark.parametrize("sigma", [0.3, 1.0, 3.0, 8.0, 15.0])
def test_averages(octets: int, sigma: float) -> None:
    """SciPy's quadrature over ±8 sigma gives the same mean to 1e-4."""
    curve = partial(lost, octets)
    for median in (-20.0, -3.0, 0.0, 2.5, 12.0, 30.0):
        exact = integrate.quad(
            lambda at, median=median: curve(at) * stats.norm.pdf(at, median, sigma),
            median - 8 * sigma,
            median + 8 * sigma,
            limit=400,
            points=[at for at in (-6.0, -3.0, -1.0, 1.0, 3.0) if abs(at - median) < 8 * sigma],
        )[0]
        ours = fading.averaged(curve, median, sigma, CLIFF_LOW_DB, CLIFF_HIGH_DB)
        assert ours == pytest.approx(exact, abs=1e-4)


def test_numbers_that_are_none() -> None:
    """A spread is 0 or more, a chance between 0 and 1."""
    for sigma in (-1.0, math.nan):
        with pytest.raises(ValueError, match="below 0"):
            fading.chance(0.0, sigma)
        with pytest.raises(ValueError, match="below 0"):
            list(fading.cells(0.0, sigma, -10.0, 10.0))
    for probability in (0.0, 1.0, math.nan):
        with pytest.raises(ValueError, match="outside 0 to 1"):
            fading.margin_for(probability, 8.0)
