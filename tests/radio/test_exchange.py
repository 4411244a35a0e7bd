"""A frame and its acknowledgement over the loss of the path."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.radio.exchange import End, exchange
from radiocheck.radio.reception import Burst, ear, frame_errors

LOSS = 5.0
LOUD = [Burst(-50.0, 0.3), Burst(-90.0, 0.6)]


def end(power: float, noise: float, bursts: list[Burst], refused: float = 0.0) -> End:
    """An end for frames of 60 octets."""
    return End(power, ear(noise, bursts, 60, LOSS, 1500.0), ear(noise, bursts, 5, LOSS, 1500.0, 192.0), refused)


NOISY = exchange(end(8.0, -93.0, LOUD, 0.01), end(3.0, -103.0, []))


@given(st.floats(0, 200))
def test_by_its_parts(loss: float) -> None:
    """One attempt needs the frame there and the acknowledgement back; four of them are made."""
    coordinator, device = end(8.0, -93.0, LOUD, 0.01), end(3.0, -103.0, [])
    found = NOISY.outcome(loss)
    down = frame_errors(device.frames, 8.0 - loss)
    up = frame_errors(coordinator.frames, 3.0 - loss)
    assert (found.down_errors, found.up_errors) == (down, up)
    good = (1 - up) * (1 - frame_errors(device.acknowledgements, 8.0 - loss))
    assert found.delivered_up == pytest.approx(1 - (1 - good) ** 4, abs=1e-9)
    good = (1 - down) * (1 - frame_errors(coordinator.acknowledgements, 3.0 - loss))
    again = 0.99 * (1 - good)
    assert found.delivered_down == pytest.approx(0.99 * good * (1 + again + again**2 + again**3), abs=1e-9)


@given(st.floats(0, 200))
def test_nothing_changes_beyond_its_bounds(loss: float) -> None:
    """Below the lower bound no loss matters, above the upper one nothing gets through."""
    if loss < NOISY.low_db:
        assert NOISY.outcome(loss) == pytest.approx(NOISY.outcome(NOISY.low_db - 50), abs=1e-6)
    if loss > NOISY.high_db:
        assert NOISY.outcome(loss) == pytest.approx((1.0, 1.0, 0.0, 0.0), abs=1e-6)


def test_equal_ends_are_alike() -> None:
    """The same power and noise at both ends: both directions deliver the same (reciprocity)."""
    same = exchange(end(5.0, -103.0, []), end(5.0, -103.0, []))
    for loss in (90.0, 100.0, 103.0, 105.0):
        found = same.outcome(loss)
        assert found.delivered_down == found.delivered_up
        assert found.down_errors == found.up_errors
    assert same.outcome(same.low_db) == pytest.approx((0.0, 0.0, 1.0, 1.0), abs=1e-6)
