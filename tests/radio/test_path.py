"""Path loss against published and recomputed values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.radio import path, units

DISTANCE = st.floats(path.NEAREST_M, path.FARTHEST_M)


@pytest.mark.parametrize(
    ("mhz", "db"),
    [
        (2405.0, 40.0700848361),
        (2412.0, 40.0953292912),
        (2437.0, 40.1848938056),
        (2440.0, 40.1955797487),
        (2462.0, 40.2735441938),
        (2480.0, 40.3368168384),
    ],
)
def test_free_space_at_a_metre(mhz: float, db: float) -> None:
    """20 log10(4 π f / c); the usual constant −27.552216778117 dB for m and MHz gives the same."""
    assert -27.552216778117 + 20 * math.log10(mhz) == pytest.approx(db, abs=1e-9)
    assert path.free_space_db(1.0, mhz) == pytest.approx(db, abs=1e-9)


@given(DISTANCE)
def test_free_space_by_the_wavelength(distance: float) -> None:
    """Friis: (4 π d / λ)²; twice as far is 6.0206 dB more."""
    expected = 20 * math.log10(4 * math.pi * distance / units.wavelength_m(2440.0))
    assert path.free_space_db(distance, 2440.0) == pytest.approx(expected, abs=1e-9)
    if distance * 2 <= path.FARTHEST_M:
        assert path.free_space_db(2 * distance, 2440.0) - expected == pytest.approx(6.0206, abs=1e-4)


@pytest.mark.parametrize(
    ("metres", "db"),
    [
        (0.1, 20.2),
        (0.5, 34.1794),
        (1.0, 40.2),
        (2.0, 46.2206),
        (4.0, 52.2412),
        (7.9, 58.152542),
        (10.0, 61.698030),
        (16.0, 68.433990),
        (20.0, 71.632020),
        (32.0, 78.367980),
        (50.0, 84.764041),
    ],
)
def test_annex_model(metres: float, db: float) -> None:
    """IEEE Std 802.15.4-2006 §E.4.1.1: 40.2 + 20 log d to 8 m, 58.5 + 33 log(d/8) beyond (computed from the print)."""
    assert path.annex_db(metres) == pytest.approx(db, abs=6e-5)


def test_annex_step() -> None:
    """The printed constants leave 0.2382 dB at 8 m, and the nearer branch holds there."""
    assert path.annex_db(8.0) == pytest.approx(58.2618, abs=5e-5)
    assert path.annex_db(8.0 + 1e-9) - path.annex_db(8.0) == pytest.approx(0.2382, abs=5e-5)


def test_ns3s_own_check() -> None:
    """ns-3, buildings-pathloss-test.cc: "ITUP1238" 88.3855 dB at 2114 MHz, √(30² + 9²) m, residential, 2 floors."""
    assert path.indoor_db(math.hypot(30.0, 9.0), 2114.0, "residential", 2) == pytest.approx(88.3855, abs=5e-5)


@pytest.mark.parametrize(
    ("site", "values"),
    [
        ("residential", (39.7478, 53.1072, 59.3190, 67.7478, 76.1766)),
        ("office", (39.7478, 54.0614, 60.7169, 69.7478, 78.7787)),
    ],
)
def test_older_p1238(site: str, values: tuple[float, ...]) -> None:
    """ITU-R P.1238-9 (second-hand: the recommendation was not read), 2440 MHz at 1, 3, 5, 10 and 20 m."""
    for metres, db in zip((1.0, 3.0, 5.0, 10.0, 20.0), values, strict=True):
        assert path.indoor_db(metres, 2440.0, site) == pytest.approx(db, abs=5e-5)


@pytest.mark.parametrize(
    ("site", "values"),
    [
        ("office in sight", (42.4840, 49.4500, 52.6890, 57.0840, 61.4791)),
        ("office", (39.4274, 50.8306, 56.1327, 63.3274, 70.5220)),
    ],
)
def test_newer_p1238(site: str, values: tuple[float, ...]) -> None:
    """ITU-R P.1238-12 in sight, -13 not in sight (both second-hand; a third party prints 56.1, 63.3, 70.5 there)."""
    for metres, db in zip((1.0, 3.0, 5.0, 10.0, 20.0), values, strict=True):
        assert path.indoor_newer_db(metres, 2440.0, site) == pytest.approx(db, abs=5e-5)


@pytest.mark.parametrize(
    ("site", "losses"),
    [("residential", (0, 4, 8, 12)), ("office", (0, 15, 19, 23)), ("commercial", (0, 6, 9, 12))],
)
def test_floors(site: str, losses: tuple[float, ...]) -> None:
    """ns-3, itu-r-1238-propagation-loss-model.cc: 4 n, 15 + 4 (n − 1), 6 + 3 (n − 1) dB."""
    assert tuple(path.floor_db(floors, site) for floors in range(4)) == losses


@given(DISTANCE, st.floats(1.0, 2.0), st.sampled_from(list(path.EXPONENTS)))
def test_farther_is_never_better(distance: float, factor: float, site: str) -> None:
    """Every model grows with distance."""
    farther = min(distance * factor, path.FARTHEST_M)
    assert path.free_space_db(farther, 2440.0) >= path.free_space_db(distance, 2440.0)
    assert path.annex_db(farther) >= path.annex_db(distance)
    assert path.indoor_db(farther, 2440.0, site) >= path.indoor_db(distance, 2440.0, site)
    assert path.indoor_newer_db(farther, 2440.0) >= path.indoor_newer_db(distance, 2440.0)


@pytest.mark.parametrize("metres", [-1.0, 0.0, 0.05, 1001.0, math.nan, math.inf])
def test_distances_that_are_refused(metres: float) -> None:
    """Nearer than about a wavelength no formula holds; both ends of the range are named."""
    for model in (
        path.annex_db,
        lambda d: path.free_space_db(d, 2440.0),
        lambda d: path.indoor_db(d, 2440.0),
        lambda d: path.indoor_newer_db(d, 2440.0),
    ):
        with pytest.raises(ValueError, match=r"outside 0\.1 m to 1000 m"):
            model(metres)


def test_sites_and_floors_that_are_none() -> None:
    """An unknown site is answered with those that there are, floors with their range."""
    for unknown in (lambda: path.indoor_db(5.0, 2440.0, "castle"), lambda: path.floor_db(1, "castle")):
        with pytest.raises(ValueError, match="write residential, office, commercial"):
            unknown()
    with pytest.raises(ValueError, match="write office or office in sight"):
        path.indoor_newer_db(5.0, 2440.0, "residential")
    with pytest.raises(ValueError, match="outside 0 to 10"):
        path.indoor_db(5.0, 2440.0, floors=11)
