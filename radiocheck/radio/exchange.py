"""A frame and its acknowledgement between coordinator and device, by what the path loses.

All devices share both ends of this; only the loss of their paths differs.  So the errors are a
curve over the loss in dB, computed where it is asked for, once for all links of a plan.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from msgspec import Struct

from .ber import CLIFF_HIGH_DB, CLIFF_LOW_DB
from .mac import delivered
from .reception import Ear, frame_errors, loudest_floor_dbm


class End(Struct, frozen=True):
    """One end of a link."""

    power_dbm: float  # transmitted, both antennas' gains added
    frames: Ear
    acknowledgements: Ear
    refused: float  # probability that it finds no free channel for a frame


class Outcome(NamedTuple):
    """Probabilities from 0 to 1; down is to the device, up is to the coordinator."""

    down_errors: float
    up_errors: float
    delivered_down: float
    delivered_up: float


class Exchange(NamedTuple):
    """The curve over the path's loss in dB, and the losses between which it changes at all."""

    outcome: Callable[[float], Outcome]
    low_db: float
    high_db: float


def exchange(coordinator: End, device: End) -> Exchange:
    """The curve between two ends.  The loss is the same both ways (reciprocity)."""

    @lru_cache(maxsize=8192)
    def outcome(loss_db: float) -> Outcome:
        at_device, at_coordinator = coordinator.power_dbm - loss_db, device.power_dbm - loss_db
        down = frame_errors(device.frames, at_device)
        up = frame_errors(coordinator.frames, at_coordinator)
        down_good = (1.0 - down) * (
            1.0 - frame_errors(coordinator.acknowledgements, at_coordinator) if down < 1.0 else 0.0
        )
        up_good = (1.0 - up) * (1.0 - frame_errors(device.acknowledgements, at_device) if up < 1.0 else 0.0)
        return Outcome(down, up, delivered(down_good, coordinator.refused), delivered(up_good, device.refused))

    pairs = [
        (sender.power_dbm, heard)
        for sender, receiver in ((coordinator, device), (device, coordinator))
        for heard in (receiver.frames, receiver.acknowledgements)
    ]
    low = min(dbm - loudest_floor_dbm(to) - to.implementation_loss_db - CLIFF_HIGH_DB for dbm, to in pairs)
    high = max(dbm - to.noise_dbm - to.implementation_loss_db - CLIFF_LOW_DB for dbm, to in pairs)
    return Exchange(outcome, low, high)
