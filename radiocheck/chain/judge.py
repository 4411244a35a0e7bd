"""From evidence to a report: findings to steps, steps to chains, chains to one verdict."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from radiocheck import __version__
from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, Gap

from . import facts_air
from .build import view
from .condition import Scope
from .context import Context, context
from .facts_guest import gaps
from .finding import Gaps, explain
from .forecast import forecasts
from .inside import inside
from .named import names_device
from .notes import host_line, notes
from .pair import Pair, pair
from .pasted import is_paste
from .rule import RuleSet
from .steps import chain
from .subjects import Subject, subjects
from .verdict import (
    REPORT_FORMAT,
    Chain,
    ChainState,
    Missing,
    Report,
    Step,
    Verdict,
)
from .view import plain

if TYPE_CHECKING:
    from .air_build import Asked

Facts = Mapping[str, Any]
WORST: tuple[ChainState, ...] = ("broken", "weak", "unseen", "sound")


class NoSuchAdapter(LookupError):
    """A filter that matches nothing; one sentence."""


class Only(Struct, frozen=True):
    """Which chains are wanted: an adapter (serial number, by-id name, port path, VID:PID), a VM."""

    adapter: str | None = None
    vm: str | None = None


def judge(
    evidence: Evidence,
    rules: RuleSet,
    only: Only | None = None,
    guest: Evidence | None = None,
    asked: Asked | None = None,
) -> Report:
    """The judgement of a machine; with `guest`, joined with what was captured in one of its VMs.

    `asked`: what a person says of the air, whose plan must be one that can be computed.

    Raises `NoSuchAdapter` when `only` leaves nothing, `NotAGuest` when `guest` cannot be of a VM of that machine.
    """
    only = only or Only()
    wanted = only.adapter
    found = subjects(evidence, (lambda device: names_device(wanted, device, evidence)) if wanted else None)
    both = _with_sides(pair(evidence, found, guest), rules) if guest is not None else None
    indexed = context(evidence, found, inside(evidence), both, asked)
    chosen = [subject for subject in found if _is_wanted(subject, only, evidence)]
    if not chosen and (only.adapter or only.vm):
        what = f"adapter `{only.adapter}`" if only.adapter else f"VM `{only.vm}`"
        known_ones = "; ".join(subject.label for subject in found) or "none"
        raise NoSuchAdapter(f"No chain belongs to {what}. Adapters in this evidence: {known_ones}.")
    chains = [_chain(indexed, subject, rules) for subject in chosen]
    chains.sort(key=_rank)
    return Report(
        radiocheck_report=REPORT_FORMAT,
        tool=__version__,
        taken=evidence.taken.at,
        root=evidence.taken.root if known(evidence.taken.root) else None,
        host=host_line(evidence),
        verdict=verdict(chains, indexed),
        chains=chains,
        notes=notes(indexed),
        missing=_telling_gaps(chains, evidence.gaps),
    )


def _rank(one: Chain) -> tuple[int, bool, str, str]:
    """The worst first; of like ones by name, and by serial number only last, since stand-ins may take its place."""
    plain = one.adapter.label.removesuffix(f" {one.adapter.serial}")
    return WORST.index(one.state), one.route == "native", plain, one.adapter.label


def _chain(indexed: Context, subject: Subject, rules: RuleSet) -> Chain:
    facts = Scope(plain(view(indexed, subject)))
    side = indexed.pair.side(subject) if indexed.pair is not None and "state" in facts["guest"] else None
    lacks = Gaps([*indexed.evidence.gaps, *gaps(indexed, subject), *facts_air.gaps(indexed)])
    judged = chain(facts, subject, rules, lacks, side)
    return replace(judged, forecast=forecasts(indexed, subject))


def _with_sides(both: Pair, rules: RuleSet) -> Pair:
    """The pair with the VM's own side of every adapter that both captures show, judged as in the VM."""
    matches = [match.sure for _, match in both.matches if known(match) and match.sure is not None]
    names = {device.name for device in matches}
    found = subjects(both.guest, lambda device: device.name in names)
    indexed = context(both.guest, found, inside=True)
    sides: dict[str, Step] = {}
    for subject in found:
        if subject.device is not None and subject.device.name in names:
            steps = _chain(indexed, subject, rules).steps
            sides[subject.device.name] = next(step for step in steps if step.step == "guest")
    return replace(both, sides=sides)


def _telling_gaps(chains: Sequence[Chain], gaps: Sequence[Gap]) -> list[Missing]:
    """The gaps worth telling: whole sources, and the details that a step was left unseen for."""
    asked = {item.what for one in chains for step in one.steps if step.state == "unseen" for item in step.missing}
    told = [gap for gap in gaps if gap.what.isidentifier() or re.split(r"[.\[]", gap.what)[0] in asked]
    return explain(list(dict.fromkeys(gap.what for gap in told)), told)


def _is_wanted(subject: Subject, only: Only, evidence: Evidence) -> bool:
    if only.vm is not None and all(item.vm != only.vm for item in subject.items):
        return False
    if only.adapter is None:
        return True
    if subject.device is not None:
        return names_device(only.adapter, subject.device, evidence)
    asked = {f"{item.vid}:{item.pid}" for item in subject.items}
    stay = subject.stay
    remembered = {stay.serial, stay.device, f"{stay.vid}:{stay.pid}"} if stay else set()
    return only.adapter in asked | remembered | {subject.place, subject.label}


def verdict(chains: Sequence[Chain], indexed: Context) -> Verdict:
    """The worst chain's word for all."""
    evidence = indexed.evidence
    if not chains:
        if not known(evidence.usb):
            unread = "what was pasted shows no USB device" if is_paste(evidence) else "the USB bus could not be read"
            return Verdict(state="unseen", step=None, sentence=f"Not enough evidence: {unread}.")
        nothing = "no USB serial adapter is on the bus, and no VM configuration asks for one."
        if is_paste(evidence):
            nothing = "what was pasted names no USB serial adapter, and no line of a VM's configuration."
        if indexed.inside is True:
            nothing = "this VM shows no USB serial adapter. Only its host can tell why: run radiocheck there."
        return Verdict(state="unseen", step=None, sentence=f"Nothing to judge: {nothing}")
    worst = chains[0]
    sentence = worst.sentence
    alike = [one for one in chains if one.state == worst.state]
    if len(chains) > 1:
        if worst.state == "sound":
            where = "in this VM" if indexed.inside is True else "as far as this host can see"
            if indexed.pair is not None:
                where = "as far as this host and the VM can see"
            sentence = f"Sound: all {len(chains)} adapters, {where}."
        elif len(alike) > 1:
            sentence += (
                f" {len(alike) - 1} more of {len(chains)} adapters {'is' if len(alike) == 2 else 'are'} {worst.state}."
            )
    return Verdict(state=worst.state, step=worst.step, sentence=sentence)
