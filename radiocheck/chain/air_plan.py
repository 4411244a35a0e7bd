"""From what stands around an adapter to the plan that the radio computation takes.

How much noise a SuperSpeed neighbour adds at the antenna follows from no published curve.
What is taken here is an assumption with a range: the one of `radiocheck.radio.assume` for
what sits beside the adapter, and no more than its best case for what is farther away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from msgspec import Struct, UnsetType
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.radio.plan import Plan, with_extension

from .neighbours import Neighbour

MATTERS_DB = 3.0  # a rise up to this leaves four fifths of the distance (exponent 2.8): called quiet
CERTAIN_DB = 1.0  # from here on even the best case costs something

Source = Literal["measured", "neighbours", "not-seen"]


class Noise(Struct, frozen=True):
    """How much the surroundings lift the noise floor at the adapter's antenna."""

    best_db: float
    worst_db: float
    source: Source


def noise(found: Sequence[Neighbour] | UnsetType, complete: bool, values: Mapping[str, float]) -> Noise:
    """The rise that the neighbours may cause, before any extension cable.

    `complete`: no device or port was missed.  `values`: assumptions by name.
    """
    best, worst = values["usb3_rise_best"], values["usb3_rise_worst"]
    if not known(found):
        return Noise(0.0, worst, "not-seen")
    beside = [one for one in found if one.beside]
    if any(one.activity in ("busy", "awake") for one in beside):
        return Noise(min(best, worst), worst, "neighbours")
    if beside:
        return Noise(0.0, worst, "neighbours")  # asleep, or not known: it may wake at any moment
    if not complete:
        return Noise(0.0, worst, "not-seen")
    return Noise(0.0, best if found else 0.0, "neighbours")


def placed(plan: Plan, noise: Noise, extension_m: float | None = None) -> Plan:
    """The plan with that noise at the adapter, on an extension cable if there is one."""
    lifted = replace(plan, rise_best_db=noise.best_db, rise_worst_db=noise.worst_db)
    return lifted if extension_m is None else with_extension(lifted, extension_m)


def shouting(best_db: float, worst_db: float) -> Literal["good", "costly", "bad"]:
    """What a noise rise is called: bad when it surely costs distance, costly when it may."""
    if worst_db <= MATTERS_DB:
        return "good"
    return "bad" if best_db >= CERTAIN_DB else "costly"
