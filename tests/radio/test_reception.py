"""A receiver among transmitters that come and go."""

from __future__ import annotations

import itertools
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.radio.ber import air_time_us, frame_error_rate
from radiocheck.radio.mac import TURNAROUND_US, hit_chance
from radiocheck.radio.reception import Burst, busy_share, ear, frame_errors, loudest_floor_dbm
from radiocheck.radio.units import power_sum

NOISE, OCTETS, LOSS, BURST_US = -103.0, 60, 5.0, 1500.0
LEVEL = st.floats(-120, -20)
BURSTS = st.lists(st.builds(Burst, LEVEL, st.floats(0, 1)), max_size=6)


def errors(level: float, bursts: list[Burst], noise: float = NOISE) -> float:
    """Frame errors of the usual receiver."""
    return frame_errors(ear(noise, bursts, OCTETS, LOSS, BURST_US), level)


@given(LEVEL)
def test_quiet_air(level: float) -> None:
    """Noise alone is the formula of IEEE Std 802.15.4-2006 §E.4.1.8."""
    assert errors(level, []) == pytest.approx(frame_error_rate(level - NOISE, OCTETS, LOSS), abs=1e-15)
    assert loudest_floor_dbm(ear(NOISE, [], OCTETS, LOSS, BURST_US)) == NOISE


def test_a_transmitter_that_drowns_everything() -> None:
    """What is lost is what meets it."""
    hits = hit_chance(0.2, air_time_us(OCTETS), BURST_US)
    assert errors(-70.0, [Burst(-40.0, 0.2)]) == pytest.approx(hits, abs=1e-9)


def test_one_that_is_always_on_is_noise() -> None:
    """§E.4.1.7: interference acts as white noise in the same bandwidth."""
    level, burst = -85.0, -90.0
    expected = frame_error_rate(level - power_sum((NOISE, burst)), OCTETS, LOSS)
    assert 0.1 < expected < 0.9
    assert errors(level, [Burst(burst, 1.0)]) == pytest.approx(expected, rel=1e-9)


def test_as_drawn() -> None:
    """Three transmitters, 100 000 frames with a fixed seed, each state's own SINR: to 0.01 where none add up."""
    chance, level = random.Random(4), -80.0
    bursts = [Burst(-60.0, 0.2), Burst(-70.0, 0.1), Burst(-86.5, 0.3)]
    hits = [hit_chance(one.busy, air_time_us(OCTETS), BURST_US) for one in bursts]
    rates = {}
    for state in itertools.product((False, True), repeat=3):
        on = [one.level_dbm for one, met in zip(bursts, state, strict=True) if met]
        rates[state] = frame_error_rate(level - power_sum((NOISE, *on)), OCTETS, LOSS)
    count = 100_000
    lost = sum(
        chance.random() < rates[first, second, third]
        for first, second, third in (tuple(chance.random() < hit for hit in hits) for _ in range(count))
    )
    assert errors(level, bursts) == pytest.approx(lost / count, abs=0.01)


@given(LEVEL, st.floats(0, 30), BURSTS)
def test_more_signal_never_harms(level: float, more: float, bursts: list[Burst]) -> None:
    """Errors are shares, and fall with the level."""
    worse, better = errors(level, bursts), errors(level + more, bursts)
    assert 0.0 <= better <= worse + 1e-6 <= 1.0 + 1e-6


@given(LEVEL, BURSTS, LEVEL, st.floats(0, 1))
def test_one_more_transmitter_never_helps(level: float, bursts: list[Burst], other: float, busy: float) -> None:
    """Nor does a share of time more of it."""
    some = errors(level, [*bursts, Burst(other, busy)])
    assert errors(level, bursts) <= some + 1e-12
    assert some <= errors(level, [*bursts, Burst(other, (1 + busy) / 2)]) + 1e-12


@given(LEVEL, BURSTS, st.floats(0, 40))
def test_more_noise_never_helps(level: float, bursts: list[Burst], rise: float) -> None:
    """A raised floor loses as much or more."""
    assert errors(level, bursts) <= errors(level, bursts, NOISE + rise) + 1e-3


def test_acknowledgements_are_short() -> None:
    """One is lost to what begins in its 352 µs and the turnaround of 192 µs before (Tables 22 and 23)."""
    acks = ear(NOISE, [Burst(-40.0, 0.4)], 5, LOSS, BURST_US, TURNAROUND_US)
    assert frame_errors(acks, -70.0) == pytest.approx(-math.expm1(-0.4 / 0.6 * 544.0 / 1500.0), abs=1e-9)


def test_busy_by_energy() -> None:
    """CCA mode 1 (§6.9.9) counts what is above the threshold, as independent, and noise above it for good."""
    bursts = [Burst(-60.0, 0.2), Burst(-74.9, 0.5), Burst(-75.1, 0.9)]
    assert busy_share(bursts, NOISE, -75.0) == pytest.approx(1 - 0.8 * 0.5)
    assert busy_share([], NOISE, -75.0) == 0.0
    assert busy_share([], -74.0, -75.0) == 1.0
