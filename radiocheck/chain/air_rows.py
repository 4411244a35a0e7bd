"""Computed figures as rows of the air report."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.radio.assume import ASSUMPTIONS
from radiocheck.radio.channels import mesh_mhz
from radiocheck.radio.link import Link
from radiocheck.radio.path import free_space_db
from radiocheck.radio.plan import LinkPlan, Plan, Result, compute
from radiocheck.radio.reach import reach_m
from radiocheck.radio.survey import Channel, Network

from .air_report import Around, Assumed, Heard, Net, Ranked, Reach, Seated, Way
from .neighbours import Neighbour, Seat

HEARD, HARDLY = 0.95, 0.5  # delivered: from here on heard well, below that hardly
PROBE_M = 1.0  # the floor and powers of a link do not depend on its distance


def ways(plan: Plan, result: Result, kinds: Sequence[tuple[str, str | None]]) -> list[Way]:
    """The links of a computed plan; `kinds` are device and room of each."""
    return [
        Way(
            name=link.name,
            device=device,
            room=room,
            distance_m=link.distance_m,
            verdict=_verdict(best, worst),
            best=best,
            worst=worst,
        )
        for link, (device, room), best, worst in zip(
            plan.links, kinds, result.links_best, result.links_worst, strict=True
        )
    ]


def delivered(link: Link) -> float:
    """Frames that arrive after retries, in the direction that has it harder."""
    return min(link.delivered_to_device, link.delivered_to_coordinator)


def margin_db(link: Link) -> float:
    """The margin of the direction that has it harder."""
    return min(link.to_device.margin_db, link.to_coordinator.margin_db)


def _verdict(best: Link, worst: Link) -> Heard:
    if delivered(worst) >= HEARD:
        return "heard"
    return "not-heard" if delivered(best) < HARDLY else "doubtful"


def reach(plan: Plan, values: dict[str, float]) -> Reach:
    """How far a device of the assumed power may be within a dwelling."""
    probed = compute(replace(plan, links=(LinkPlan("reach", PROBE_M),)))
    freq = 2440.0 if plan.channel is None else mesh_mhz(plan.channel)
    distances = []
    for link in (probed.links_best[0], probed.links_worst[0]):
        budget = margin_db(link) + free_space_db(PROBE_M, freq)
        distances.append(reach_m(budget, values["spread"], freq))
    return Reach(best_m=distances[0], worst_m=distances[1])


def row(one: Channel, worst: Channel) -> Ranked:
    """A channel as a row; `worst` is the same with the worst noise beside the adapter."""
    first = one.loudest[0] if one.loudest else None
    return Ranked(
        channel=one.channel,
        centre_mhz=one.centre_mhz,
        wifi_dbm=one.interference_dbm,
        bound=first is not None and first.beside,
        margin_db=one.margin_db,
        frame_errors=one.frame_errors,
        busy=one.busy,
        delivered=one.delivered,
        delivered_worst=worst.delivered,
        loudest=first.name if first else None,
        offset_mhz=first.offset_mhz if first else None,
        reasons=list(one.reasons),
    )


def net(one: Network) -> Net:
    """A network as a row."""
    return Net(
        name=one.name,
        centre_mhz=one.centre_mhz,
        width_mhz=22.0 if one.mask == "dsss" else 40.0 if one.mask.endswith("40") else 20.0,
        mask=one.mask,
        level_dbm=one.level_dbm,
        busy=one.busy,
    )


def around(one: Neighbour) -> Around:
    """A neighbour as a row."""
    return Around(
        label=one.label,
        name=one.name,
        gbps=one.mbps / 1e3,
        where=one.where,
        beside=one.beside,
        hub=one.hub,
        activity=one.activity if known(one.activity) else None,
        transfers_per_s=one.transfers_per_s if known(one.transfers_per_s) else None,
    )


def seated(one: Seat) -> Seated:
    """The seat as a row."""
    return Seated(
        hubs=list(one.hubs), superspeed_socket=one.superspeed_socket if known(one.superspeed_socket) else None
    )


def assumed(values: dict[str, float], given: frozenset[str]) -> list[Assumed]:
    """Every assumption with the value that was taken."""
    return [
        Assumed(
            name=one.name,
            value=values[one.name],
            low=one.low,
            high=one.high,
            unit=one.unit,
            about=one.about,
            source=one.source,
            given=one.name in given,
        )
        for one in ASSUMPTIONS
    ]
