"""What a receiver in its place makes of a frame: noise, and transmitters that come and go.

Interference acts as white noise in the same bandwidth (IEEE Std 802.15.4-2006 §E.4.1.7).
A transmitter is on or off, and a frame meets it or not.  Each is met alone and independently
of the others, which is an assumption: two at once do more than each.  A sender that hears it
would wait for its end; that is not counted here, since who hears whom is not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from msgspec import Struct

from .ber import CLIFF_HIGH_DB, air_time_us, frame_error_rate
from .mac import hit_chance
from .units import power_sum


class Burst(Struct, frozen=True):
    """A transmitter as a receiver has it in its filter."""

    level_dbm: float
    busy: float  # share of time in which it is on, 0 to 1


class Ear(Struct, frozen=True):
    """A receiver for frames of one length: what `frame_errors` needs, computed once for all levels."""

    noise_dbm: float  # floor while all are off
    octets: int
    implementation_loss_db: float
    loud: tuple[tuple[float, float], ...]  # floor in dBm while one is on, and the chance to meet it; loudest first


def ear(
    noise_dbm: float,
    bursts: Iterable[Burst],
    octets: int,
    implementation_loss_db: float,
    burst_us: float,
    waited_us: float | None = None,
) -> Ear:
    """A receiver with a noise floor in dBm, for frames of `octets`.

    `burst_us` is how long a transmitter stays on.  An acknowledgement is sent without looking,
    so soon after a frame that got through that only what begins since then matters: give
    the turnaround as `waited_us`.
    """
    air_us = air_time_us(octets) + (waited_us or 0.0)
    loud = (
        (
            power_sum((noise_dbm, one.level_dbm)),
            hit_chance(one.busy, air_us, burst_us, waited_us is not None),
        )
        for one in bursts
        if one.busy > 0
    )
    return Ear(noise_dbm, octets, implementation_loss_db, tuple(sorted(loud, reverse=True)))


def frame_errors(of: Ear, level_dbm: float) -> float:
    """Probability, 0 to 1, that a frame received at `level_dbm` is lost, averaged over what it meets."""
    octets, loss = of.octets, of.implementation_loss_db
    quiet = frame_error_rate(level_dbm - of.noise_dbm, octets, loss)
    if quiet == 1.0:
        return 1.0
    kept = 1.0 - quiet
    for floor, chance in of.loud:
        sinr = level_dbm - floor
        if sinr - loss > CLIFF_HIGH_DB:
            break  # neither this one nor the weaker ones do any harm
        more = frame_error_rate(sinr, octets, loss) - quiet
        if more > 0.0:
            kept *= 1.0 - chance * more / (1.0 - quiet)
    return 1.0 - kept


def loudest_floor_dbm(of: Ear) -> float:
    """The floor in dBm while the loudest transmitter is on; noise alone when there is none."""
    return of.loud[0][0] if of.loud else of.noise_dbm


def busy_share(bursts: Iterable[Burst], noise_dbm: float, threshold_dbm: float) -> float:
    """Share of time in which clear channel assessment by energy finds the channel taken, 0 to 1.

    A transmitter counts when it is above the threshold; noise above it takes the channel for
    good.  (CCA mode 1: IEEE Std 802.15.4-2006 §6.9.9.)
    """
    if noise_dbm > threshold_dbm:
        return 1.0
    return 1.0 - math.prod(1.0 - one.busy for one in bursts if one.level_dbm > threshold_dbm)
