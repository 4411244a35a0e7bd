"""Facts about the adapter's air: what its neighbours, channel and links come to, by the radio computation.

Without a word of a person only the neighbours are known.  A channel, a survey and links
come with `Asked`; where it brings no survey, what this machine's Wi-Fi has heard stands
in, which is a part of what there is: then every figure is one of "at least".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from msgspec import UNSET, Struct, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Gap

from .bound import certain, count
from .context import Context
from .facts_measured import measured_facts
from .neighbours import Neighbour, neighbours, seat
from .subjects import Subject
from .view_air import AirFacts, LinkFacts, NeighbourFacts, OverlapFacts

if TYPE_CHECKING:  # a machine without a SuperSpeed device and without a site computes nothing
    from radiocheck.radio.link import Link
    from radiocheck.radio.plan import LinkPlan, Plan, Result
    from radiocheck.radio.survey import Channel, Interference

    from .air_build import Asked

NEARLY_ALL = 0.97  # of the attempts: with three retries it leaves hardly a tenth of the frames
PROVIDE = "describe the air in air.yaml and run `radiocheck check --site air.yaml`"


class _Rise(Struct, frozen=True):
    """Noise rise at the adapter, and whether each end of it is known to the full (else: at least)."""

    best_db: float
    worst_db: float
    best_whole: bool
    worst_whole: bool


def air_facts(context: Context, subject: Subject) -> AirFacts:
    """Everything computed for an adapter that is on the bus."""
    device = subject.device
    if device is None:
        return AirFacts()
    asked = context.asked
    facts: dict[str, Any] = {"measured": asked is not None and asked.noise is not None}
    facts |= measured_facts(context, subject)
    seated = seat(context, device)
    if known(seated):
        facts["hubs"] = len(seated.hubs)
    around = neighbours(context, device)
    complete = context.whole("usb") and context.whole("ports")
    if known(around):
        facts["neighbours"] = [_neighbour(one, asked) for one in around] + ([] if complete else [NeighbourFacts()])
    rise = _rise(around, complete, asked)
    if rise is not None:
        facts["rise_best_db"] = count(round(rise.best_db), rise.best_whole)
        facts["rise_worst_db"] = count(round(rise.worst_db), rise.worst_whole)
    if asked is not None:
        facts |= _given(context, asked, rise)
    return AirFacts(**facts)


def gaps(context: Context) -> list[Gap]:
    """What the person may give so that the air can be judged."""
    asked = context.asked
    lacks = []
    if asked is None or asked.plan.channel is None:
        lacks.append("channel")
    if asked is None or asked.plan.networks is None:
        lacks.append("survey of the 2.4 GHz band")
    if not lacks:
        return []
    return [Gap(what="site", why="not-here", detail=f"no {' and no '.join(lacks)} was given", provide=PROVIDE)]


def _neighbour(one: Neighbour, asked: Asked | None) -> NeighbourFacts:
    best, worst = _noise([one], asked)
    sure = known(one.activity) or not one.beside
    return NeighbourFacts(
        label=one.label,
        mbps=one.mbps,
        where=one.where,
        hub=one.hub,
        activity=one.activity,
        transfers_per_s=round(one.transfers_per_s) if known(one.transfers_per_s) else UNSET,
        rise_best_db=round(best) if sure else UNSET,
        rise_worst_db=round(worst),
    )


def _rise(around: Sequence[Neighbour] | UnsetType, complete: bool, asked: Asked | None) -> _Rise | None:
    """None when the neighbours were not seen and nobody has measured."""
    if asked is not None and asked.noise is not None:
        return _Rise(asked.noise.best_db, asked.noise.worst_db, True, True)
    if not known(around):
        return None
    best, worst = _noise(around, asked) if around else (0.0, 0.0)
    return _Rise(best, worst, complete and all(known(one.activity) for one in around if one.beside), complete)


def _noise(around: Sequence[Neighbour], asked: Asked | None) -> tuple[float, float]:
    """What these add to the noise floor where the adapter is, at best and at worst."""
    from radiocheck.radio.assume import chosen

    from .air_plan import noise, placed

    found = noise(around, True, chosen(dict(asked.plan.given) if asked is not None else None))
    if asked is None or asked.extension_m is None:
        return found.best_db, found.worst_db
    there = placed(asked.plan, found, asked.extension_m)
    return there.rise_best_db, there.rise_worst_db


def _given(context: Context, asked: Asked, rise: _Rise | None) -> dict[str, Any]:
    """What follows from the person's words."""
    from msgspec.structs import replace

    from radiocheck.radio.plan import compute

    plan, whole = asked.plan, asked.survey_from != "evidence"
    if plan.networks is None:
        from .wifi_heard import networks

        plan, whole = replace(plan, networks=networks(context.evidence)), False
    best, worst = (rise.best_db, rise.worst_db) if rise is not None else (0.0, 0.0)
    result = compute(replace(plan, rise_best_db=best, rise_worst_db=worst))
    facts: dict[str, Any] = {"links": _links(plan, result, rise)}
    if "coordinator_power" in plan.given:
        facts["power_dbm"] = round(plan.given["coordinator_power"])
    if plan.channel is not None:
        facts["channel"] = plan.channel
    if plan.networks is not None:
        facts |= {"survey_whole": whole, "networks": count(len(plan.networks), whole)}
    mine, late = _own(plan, result.channels), _own(plan, result.channels_worst)
    if mine is not None:
        facts |= _channel(plan, mine, result, rise, whole)
    if late is not None and rise is not None:
        facts["lost_worst_permille"] = count(_permille(1.0 - late.delivered), whole and rise.worst_whole)
    return facts


def _own(plan: Plan, channels: Sequence[Channel]) -> Channel | None:
    return next((one for one in channels if one.channel == plan.channel), None)


def _channel(plan: Plan, mine: Channel, result: Result, rise: _Rise | None, whole: bool) -> dict[str, Any]:
    """The adapter's channel, at the best end of the noise, and the best channel of a whole survey."""
    from radiocheck.radio.survey import ranked, recommended

    sure = whole and rise is not None and rise.best_whole
    facts: dict[str, Any] = {
        "lost_best_permille": count(_permille(1.0 - mine.delivered), sure),
        "spoiled_permille": count(_permille(mine.frame_errors), sure),
        "busy_permille": count(_permille(mine.busy), whole),
        "short_db": count(round(-mine.margin_db), sure),
        "too_noisy": certain(_too_noisy(mine), rise is not None and rise.best_whole),
        "proven": certain(_proven(mine), sure),
        "overlaps": [_overlap(plan, one) for one in mine.loudest] + ([] if whole else [OverlapFacts()]),
    }
    if sure:
        best = recommended(ranked(result.channels))
        facts |= {
            "best_channel": best.channel,
            "best_spoiled_permille": _permille(best.frame_errors),
            "gain_permille": max(_permille(mine.frame_errors) - _permille(best.frame_errors), 0),
        }
    return facts


def _proven(mine: Channel) -> bool:
    """Whether noise alone, or networks over the channel, spoil nearly every attempt.

    What lies beside a network is left out: its mask tells only the most that may arrive there.
    """
    kept = math.prod(1.0 - one.hits * one.frame_errors for one in mine.loudest if not one.beside)
    return kept <= 1.0 - NEARLY_ALL or _too_noisy(mine)


def _too_noisy(mine: Channel) -> bool:
    return any(one.code == "too-weak" for one in mine.reasons)


def _overlap(plan: Plan, one: Interference) -> OverlapFacts:
    from radiocheck.radio.channels import mesh_mhz
    from radiocheck.radio.masks import MASKS

    assert plan.channel is not None
    centre = mesh_mhz(plan.channel) - one.offset_mhz
    mine = [each for each in plan.networks or () if each.name == one.name and abs(each.centre_mhz - centre) < 0.01]
    loud = max(mine, key=lambda each: each.level_dbm, default=None)
    inside: bool | UnsetType = UNSET
    if loud is not None:
        inside = abs(one.offset_mhz) <= MASKS[loud.mask].top_mhz / 2.0
    return OverlapFacts(
        name=one.name,
        apart_mhz=round(abs(one.offset_mhz)),
        inside=inside,
        level_dbm=round(loud.level_dbm) if loud is not None else UNSET,
        in_channel_dbm=round(one.in_channel_dbm),
        busy_permille=_permille(one.busy),
        spoiled_permille=_permille(one.hits * one.frame_errors),
    )


def _links(plan: Plan, result: Result, rise: _Rise | None) -> list[LinkFacts]:
    return [
        _link(one, low, high if rise is not None else None, rise)
        for one, low, high in zip(plan.links, result.links_best, result.links_worst, strict=True)
    ]


def _link(plan: LinkPlan, low: Link, high: Link | None, rise: _Rise | None) -> LinkFacts:
    from radiocheck.radio.path import free_space_db

    sure, late = rise is not None and rise.best_whole, rise is not None and rise.worst_whole
    way = sum(term.db for term in low.to_coordinator.terms[2:])  # behind transmitter and antennas
    facts: dict[str, Any] = {}
    if high is not None:
        facts = {
            "weak_worst_permille": count(_weak(high), late),
            "up_weak_worst_permille": count(_permille(1.0 - high.to_coordinator.chance), late),
            "up_short_worst_db": count(round(-high.to_coordinator.margin_db), late),
        }
    return LinkFacts(
        name=plan.name,
        distance_m=max(round(plan.distance_m), 1),
        walls=len(plan.walls),
        floors=plan.floors,
        walls_db=max(round(-way - free_space_db(plan.distance_m, 2440.0)), 0),
        weak_best_permille=count(_weak(low), sure),
        up_weak_best_permille=count(_permille(1.0 - low.to_coordinator.chance), sure),
        down_short_db=round(-low.to_device.margin_db),
        up_short_best_db=count(round(-low.to_coordinator.margin_db), sure),
        **facts,
    )


def _weak(one: Link) -> int:
    return _permille(1.0 - min(one.to_device.chance, one.to_coordinator.chance))


def _permille(share: float) -> int:
    return round(min(max(share, 0.0), 1.0) * 1000)
