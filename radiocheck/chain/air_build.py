"""The air report: evidence and a person's own words in, three answers and their figures out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from msgspec import UNSET, Struct, UnsetType
from msgspec.structs import replace

from radiocheck import __version__
from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import UsbDevice
from radiocheck.radio.assume import chosen
from radiocheck.radio.plan import Plan, compute, on_channel
from radiocheck.radio.survey import ranked, recommended

from . import air_rows as rows
from . import air_words as words
from .adapters import label
from .air_answers import ANOTHER, good_channel, heard, shouts
from .air_change import Changes, changed, compared
from .air_plan import Noise, noise, placed
from .air_report import AIR_FORMAT, AirReport
from .context import Context
from .neighbours import Neighbour, Seat, neighbours, seat
from .notes import host_line
from .verdict import Missing


class Asked(Struct, frozen=True, kw_only=True):
    """What a person gave: the site as a plan, without any noise in it, and what is to be changed."""

    plan: Plan
    site: str | None = None
    kinds: Sequence[tuple[str, str | None]] = ()  # of each link of the plan: device (lamp, lock …), room
    noise: Noise | None = None  # measured
    extension_m: float | None = None
    survey_from: Literal["site", "evidence"] | None = None
    changes: Changes = Changes()
    missing: Sequence[Missing] = ()


def air(asked: Asked, context: Context | None = None, device: UsbDevice | None = None) -> AirReport:
    """The report.  Raises `ValueError` for numbers that cannot be, with the allowed range."""
    values = chosen(dict(asked.plan.given))
    around: list[Neighbour] | UnsetType = UNSET
    seated: Seat | UnsetType = UNSET
    complete = False
    if context is not None and device is not None:
        around, seated = neighbours(context, device), seat(context, device)
        complete = context.whole("usb") and context.whole("ports")
    rise = asked.noise or noise(around, complete, values)
    measured = rise.source == "measured"
    now = placed(asked.plan, rise, None if measured else asked.extension_m)
    result = compute(now)
    late = {one.channel: one for one in result.channels_worst}
    order = [rows.row(one, late[one.channel]) for one in ranked(result.channels)]
    links = rows.ways(now, result, asked.kinds)
    reach = rows.reach(now, values)
    best = recommended(order).channel if order else None
    other, quiet = [], links
    if now.networks and links:
        silent = replace(now, networks=None)
        quiet = rows.ways(silent, compute(silent), asked.kinds)
    if best is not None and now.channel not in (None, best):
        there = on_channel(now, best)
        other = rows.ways(there, compute(there), asked.kinds)
    moved = None
    if not measured and (asked.extension_m or 0.0) < ANOTHER:
        moved = placed(asked.plan, rise, ANOTHER)
    what_if = None
    if asked.changes.any:
        later = changed(asked.plan, rise, asked.extension_m, asked.changes)
        what_if = compared(now, result, later, compute(later), asked.changes)
    answers = [
        shouts(around, seated, rise, now, moved, asked.extension_m),
        good_channel(now.channel, order, now.networks is not None, asked.survey_from == "evidence"),
        heard(links, quiet, other, best, reach),
    ]
    changes_channel = asked.changes.channel is not None or answers[1].state in ("bad", "costly")
    return AirReport(
        radiocheck_air=AIR_FORMAT,
        tool=__version__,
        taken=context.evidence.taken.at if context is not None else None,
        host=host_line(context.evidence) if context is not None else None,
        site=asked.site,
        adapter=label(device) if device is not None else None,
        port=device.port if device is not None and isinstance(device.port, str) else None,
        channel=now.channel,
        answers=answers,
        seat=rows.seated(seated) if known(seated) else None,
        neighbours=[rows.around(one) for one in around] if known(around) else None,
        noise=Noise(now.rise_best_db, now.rise_worst_db, rise.source),
        floor_best_dbm=result.floor_best_dbm,
        floor_worst_dbm=result.floor_worst_dbm,
        networks=None if now.networks is None else [rows.net(one) for one in now.networks],
        survey_from=asked.survey_from if now.networks is not None else None,
        channels=order,
        wanted_dbm=result.wanted_dbm,
        wanted_from=result.wanted_from,
        links=links,
        reach=reach,
        what_if=what_if,
        assumed=rows.assumed(values, frozenset(asked.plan.given)),
        models=words.MODELS,
        cautions=words.cautions([(one.name, one.device) for one in links], changes_channel),
        missing=list(asked.missing),
    )
