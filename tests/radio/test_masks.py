"""Transmit masks: corners, and their integral over a receiver's filter."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from radiocheck.radio import masks

NAME = st.sampled_from(list(masks.MASKS))
OFFSET = st.floats(-90, 90)
# MHz from centre to centre → dB of the transmitter's power within ±1 MHz, by the masks of `masks.py`'s sources.
SHARES = {
    "dsss": {2: -10.414, 8: -10.414, 12: -40.414, 18: -40.414, 22: -43.381, 23: -60.414, 33: -60.414},
    "ofdm": {2: -9.542, 8: -9.542, 12: -30.401, 13: -31.290, 17: -34.845, 22: -39.887, 28: -47.087, 33: -49.542},
    "ht20": {2: -9.542, 8: -9.542, 12: -30.401, 18: -35.734, 22: -40.832, 23: -42.532, 28: -51.032, 33: -54.542},
    "he20": {2: -9.890, 8: -9.890, 12: -31.126, 13: -31.968, 17: -35.337, 22: -40.235, 28: -47.435, 33: -49.890},
    "ht40": {2: -12.788, 8: -12.788, 18: -12.788, 22: -33.202, 23: -33.623, 28: -35.728, 33: -37.833},
}


@pytest.mark.parametrize(("name", "offset", "db"), [(n, o, d) for n, row in SHARES.items() for o, d in row.items()])
def test_shares(name: str, offset: float, db: float) -> None:
    """The share within the 2 MHz that IEEE Std 802.15.4-2006 §E.4.1.4 assumes of a receiver, on both sides."""
    assert masks.share_db(masks.MASKS[name], offset) == pytest.approx(db, abs=6e-4)
    assert masks.share_db(masks.MASKS[name], -offset) == pytest.approx(db, abs=6e-4)


def test_dsss_steps() -> None:
    """IEEE Std 802.15.4-2006 Table E.1 (802.11b-1999 §18.4.7.3): 0 dBr below 11 MHz, −30 to 22, −50 beyond."""
    mask = masks.MASKS["dsss"]
    assert [masks.level_db(mask, at) for at in (0, 10.99, 11, 21.99, 22, 60)] == [0, 0, -30, -30, -50, -50]


@pytest.mark.parametrize(
    ("name", "corners"),
    [
        ("ofdm", {9: 0, 11: -20, 20: -28, 30: -40, 50: -40}),  # IEEE Std 802.11-2016 §17.3.9.3, second-hand
        ("ht20", {9: 0, 11: -20, 20: -28, 30: -45, 50: -45}),  # §19.3.18.1, second-hand
        ("ht40", {19: 0, 21: -20, 40: -28, 60: -45, 90: -45}),  # §19.3.18.1, second-hand
        ("he20", {9.75: 0, 10.5: -20, 20: -28, 30: -40}),  # §27.3.19.1, second-hand
        ("he40", {19.5: 0, 20.5: -20, 40: -28, 60: -40}),  # from memory
    ],
)
def test_corners(name: str, corners: dict[float, float]) -> None:
    """Each mask goes through its standard's corners."""
    for at, db in corners.items():
        assert masks.level_db(masks.MASKS[name], at) == pytest.approx(db)


def test_between_corners() -> None:
    """The level is linear in dB between two corners: −24 dBr in the middle between −20 and −28."""
    assert masks.level_db(masks.MASKS["ht20"], 15.5) == pytest.approx(-24.0)


@given(NAME, OFFSET, st.sampled_from([1.0, 2.0, 5.0]))
def test_integral(name: str, offset: float, width: float) -> None:
    """SciPy's quadrature of the level gives the same share (steps given to it as points)."""
    mask = masks.MASKS[name]
    low, high = offset - width / 2, offset + width / 2
    steps = sorted({side * at for at, _ in mask.corners for side in (-1, 1) if low < side * at < high})
    area = sum(
        integrate.quad(lambda at: 10 ** (masks.level_db(mask, at) / 10), a, b, epsrel=1e-10)[0]
        for a, b in zip([low, *steps], [*steps, high], strict=True)
    )
    assert masks.share_db(mask, offset, width) == pytest.approx(10 * math.log10(area / mask.top_mhz), abs=1e-6)


@given(NAME, st.floats(0, 80), st.floats(0, 10))
def test_farther_is_less(name: str, offset: float, more: float) -> None:
    """No mask rises with the distance from its centre, at its edges neither."""
    mask = masks.MASKS[name]
    assert masks.level_db(mask, offset + more) <= masks.level_db(mask, offset) <= 0.0
    assert masks.share_db(mask, offset + more) <= masks.share_db(mask, offset) + 1e-6


@pytest.mark.parametrize("name", masks.MASKS)
def test_a_filter_as_wide_as_the_top_takes_all(name: str) -> None:
    """The flat top stands for the whole power, since the rest is too little to matter."""
    mask = masks.MASKS[name]
    assert masks.share_db(mask, 0.0, mask.top_mhz) == pytest.approx(0.0, abs=1e-9)
    assert masks.share_db(mask, 0.0, 100.0) < 0.5


@pytest.mark.parametrize(
    ("standard", "width", "name"),
    [("b", 22.0, "dsss"), ("g", 20.0, "ofdm"), ("n", 20.0, "ht20"), ("n", 40.0, "ht40"), ("ax", 40.0, "he40")],
)
def test_mask_of_a_standard(standard: str, width: float, name: str) -> None:
    """Each 802.11 standard of the band has its mask."""
    assert masks.mask_of(standard, width) == name
    assert name in masks.MASKS


@pytest.mark.parametrize("width", [0.0, -2.0, 101.0, math.nan])
def test_filters_that_are_refused(width: float) -> None:
    """The allowed range is named."""
    with pytest.raises(ValueError, match="0 MHz to 100 MHz"):
        masks.share_db(masks.MASKS["ht20"], 0.0, width)
