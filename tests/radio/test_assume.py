"""Assumptions: each is named, ranged, sourced, and changed only within its range."""

from __future__ import annotations

import math

import pytest

from radiocheck.radio.assume import ASSUMPTIONS, BY_NAME, chosen, in_range


def test_values_lie_within_their_ranges() -> None:
    """Names are unique, and every value is one that a person could give."""
    assert len(BY_NAME) == len(ASSUMPTIONS)
    for one in ASSUMPTIONS:
        assert one.low <= one.value <= one.high
        assert in_range(one.name, one.value) == one.value


def test_each_says_where_it_is_from() -> None:
    """What it is about and its source stand beside each value."""
    assert all(one.about and one.source and one.unit for one in ASSUMPTIONS)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("receiver_width", 2.0),  # IEEE Std 802.15.4-2006 §E.4.1.4
        ("implementation_loss", 5.0),  # §E.3.2.1: 5 to 6 dB where the formula needs 0.4 dB
        ("cca_threshold", -75.0),  # §6.9.9 and §6.5.3.3: at most 10 dB above −85 dBm
    ],
)
def test_values_of_the_standard(name: str, value: float) -> None:
    """Where the standard gives a number, it is that one."""
    assert BY_NAME[name].value == value


def test_given_values_replace_ours() -> None:
    """Others stay as they are."""
    assert chosen({"spread": 5.0}) == chosen() | {"spread": 5.0}


@pytest.mark.parametrize("value", [-0.1, 15.1, math.nan, math.inf])
def test_values_out_of_range(value: float) -> None:
    """They are refused with the range and its unit."""
    with pytest.raises(ValueError, match="outside 0 to 15 dB"):
        chosen({"spread": value})


def test_an_unknown_name() -> None:
    """It is answered with the names that there are."""
    with pytest.raises(ValueError, match=r"`luck` is no assumption; write one of noise_figure, "):
        chosen({"luck": 1.0})
