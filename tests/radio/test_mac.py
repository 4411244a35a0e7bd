"""Channel access, collisions and retries against closed forms and a simulation."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.radio import mac

SHARE = st.floats(0, 1)


def test_defaults_are_the_standards() -> None:
    """IEEE Std 802.15.4-2006 Table 86, eq. (13) and Table 22: symbols of 16 µs."""
    assert (mac.MAX_RETRIES, mac.MAX_BACKOFFS) == (3, 4)
    assert mac.ACK_WAIT_US == (20 + 12 + 10 + 6 * 2) * 16
    assert mac.TURNAROUND_US == 12 * 16


@given(SHARE)
def test_four_attempts_fail_with_p_to_the_fourth(errors: float) -> None:
    """macMaxFrameRetries 3 gives at most 4 transmissions: p⁴ is never acknowledged."""
    assert mac.delivery(errors).delivered == pytest.approx(1 - errors**4, abs=1e-12)


@given(SHARE)
def test_five_looks_fail_with_b_to_the_fifth(busy: float) -> None:
    """macMaxCSMABackoffs 4 gives at most 5 looks: b⁵ finds no free channel."""
    assert mac.access_failure(busy) == pytest.approx(busy**5)
    assert mac.delivery(0.0, busy=busy).delivered == pytest.approx(1 - busy**5)


@given(SHARE, SHARE, SHARE, st.integers(0, 7))
def test_shares_are_shares(errors: float, ack_errors: float, busy: float, retries: int) -> None:
    """Delivered is a probability, and more errors of any kind never deliver more."""
    one = mac.delivery(errors, ack_errors, busy, retries)
    assert 0.0 <= one.delivered <= 1.0
    assert 0.0 <= one.attempts <= retries + 1 + 1e-9
    for worse in (
        mac.delivery((1 + errors) / 2, ack_errors, busy, retries),
        mac.delivery(errors, (1 + ack_errors) / 2, busy, retries),
        mac.delivery(errors, ack_errors, (1 + busy) / 2, retries),
    ):
        assert worse.delivered <= one.delivered + 1e-12


def test_tiny_chances_are_not_lost() -> None:
    """One in 1e15 attempts gives four in 1e15 frames."""
    assert mac.delivered(1e-15) == pytest.approx(4e-15, rel=1e-9)


def frame(chance: random.Random, errors: float, ack_errors: float, busy: float) -> tuple[bool, int]:
    """One frame by the standard's rules, drawn: whether it is acknowledged, and how often it was sent."""
    for sent in range(4):
        if all(chance.random() < busy for _ in range(5)):
            return False, sent
        if chance.random() >= errors and chance.random() >= ack_errors:
            return True, sent + 1
    return False, 4


def test_delivery_as_drawn() -> None:
    """100 000 frames by §7.5.1.4 and §7.5.6.4.3 with a fixed seed: within 4 standard deviations."""
    chance, count = random.Random(1), 100_000
    drawn = [frame(chance, 0.4, 0.1, 0.7) for _ in range(count)]
    computed = mac.delivery(0.4, 0.1, 0.7)
    share = sum(good for good, _ in drawn) / count
    assert share == pytest.approx(computed.delivered, abs=4 * math.sqrt(0.25 / count))
    assert sum(sent for _, sent in drawn) / count == pytest.approx(computed.attempts, abs=0.02)


def met(chance: random.Random, busy: float, frame_us: float, burst_us: float, free_at_start: bool) -> float:
    """Share of frames, at random moments of an on-off transmitter with exponential pauses, that meet it."""
    pause_us = burst_us * (1 - busy) / busy
    edges, now = [], 0.0
    for _ in range(40_000):  # bursts
        now += chance.expovariate(1 / pause_us)
        edges.append((now, now + burst_us))
        now += burst_us
    hits = looked = 0
    place = 0
    for start in sorted(chance.uniform(0, now - frame_us) for _ in range(40_000)):
        while edges[place][1] <= start:
            place += 1
        on = edges[place][0] <= start
        if free_at_start and on:
            continue
        looked += 1
        hits += edges[place][0] < start + frame_us
    return hits / looked


@pytest.mark.parametrize("free_at_start", [False, True])
@pytest.mark.parametrize("busy", [0.1, 0.5])
def test_hits_as_drawn(busy: float, free_at_start: bool) -> None:
    """A simulated transmitter with a fixed seed is met as often as the formula says, to 0.015."""
    drawn = met(random.Random(2), busy, 2112.0, 1500.0, free_at_start)
    assert mac.hit_chance(busy, 2112.0, 1500.0, free_at_start) == pytest.approx(drawn, abs=0.015)


@given(SHARE, st.floats(1, 1e5), st.floats(1, 1e5))
def test_hits_have_bounds(busy: float, frame_us: float, burst_us: float) -> None:
    """Whoever did not look meets it at least for its share of time; who looked, less often."""
    blind = mac.hit_chance(busy, frame_us, burst_us)
    looked = mac.hit_chance(busy, frame_us, burst_us, free_at_start=True)
    assert 0.0 <= looked <= blind + 1e-12
    assert busy - 1e-12 <= blind <= 1.0 + 1e-12


def test_ends_of_air_time() -> None:
    """Who is never on is never met, who is always on always."""
    assert mac.hit_chance(0.0, 1000.0, 1500.0) == 0.0
    assert mac.hit_chance(1.0, 1000.0, 1500.0, free_at_start=True) == 1.0


def test_numbers_that_are_none() -> None:
    """Shares are 0 to 1, retries 0 to 7, backoffs 0 to 5 (Table 86), times above 0."""
    for value in (-0.1, 1.1, math.nan):
        with pytest.raises(ValueError, match="outside 0 to 1"):
            mac.access_failure(value)
        with pytest.raises(ValueError, match="outside 0 to 1"):
            mac.delivery(value)
        with pytest.raises(ValueError, match="outside 0 to 1"):
            mac.hit_chance(value, 1.0, 1.0)
    with pytest.raises(ValueError, match="0 to 7"):
        mac.delivery(0.1, retries=8)
    with pytest.raises(ValueError, match="0 to 5"):
        mac.delivery(0.1, backoffs=6)
    with pytest.raises(ValueError, match="above 0"):
        mac.hit_chance(0.1, 0.0, 1500.0)
