"""How far a device can be: the inverse of the path loss with its spread."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.radio.fading import chance
from radiocheck.radio.path import FARTHEST_M, indoor_db
from radiocheck.radio.reach import reach_m


@given(st.floats(50, 120), st.floats(0.5, 12), st.floats(0.05, 0.95))
def test_the_chance_holds_at_that_distance(budget: float, spread: float, wanted: float) -> None:
    """At the distance found the margin is there with the chance asked for, unless an end of the range is met."""
    distance = reach_m(budget, spread, 2440.0, wanted)
    assert 1.0 <= distance <= FARTHEST_M
    if 1.0 < distance < FARTHEST_M * 0.999:
        margin = budget - indoor_db(distance, 2440.0)
        assert chance(margin, spread) == pytest.approx(wanted, abs=1e-6)


def test_28_db_are_ten_times_as_far() -> None:
    """ITU-R P.1238-9 (second-hand): N = 28 dB for ten times the distance in dwellings."""
    near, far = reach_m(70.0, 0.0, 2440.0, 0.5), reach_m(98.0, 0.0, 2440.0, 0.5)
    assert far / near == pytest.approx(10.0, rel=1e-6)


def test_a_metre_stands_for_less() -> None:
    """The model begins there."""
    assert reach_m(20.0, 8.0, 2440.0) == 1.0


@pytest.mark.parametrize("wanted", [0.0, 1.0])
def test_chances_that_are_never_reached(wanted: float) -> None:
    """Certainty is refused."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        reach_m(90.0, 8.0, 2440.0, wanted)
