"""From evidence to a report: findings to steps, steps to chains, chains to one verdict."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, cast

from msgspec import Struct

from radiocheck import __version__
from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, Gap
from radiocheck.evidence.usb import UsbDevice

from .build import view
from .condition import Condition, Scope, evaluate
from .context import context
from .finding import explain, finding, lacking
from .held import device_ttys
from .rule import Rule, RuleSet, StepRule
from .subjects import Subject, subjects
from .template import complete, fill
from .verdict import (
    REPORT_FORMAT,
    Adapter,
    Chain,
    ChainRoute,
    ChainState,
    Finding,
    Missing,
    Report,
    Step,
    StepName,
    StepState,
    Verdict,
)
from .view import plain

Facts = Mapping[str, Any]
WORST: tuple[ChainState, ...] = ("broken", "weak", "unseen", "sound")


class NoSuchAdapter(LookupError):
    """A filter that matches nothing; one sentence."""


class Only(Struct, frozen=True):
    """Which chains are wanted: an adapter (serial number, by-id name, port path, VID:PID), a VM."""

    adapter: str | None = None
    vm: str | None = None


def judge(evidence: Evidence, rules: RuleSet, only: Only | None = None) -> Report:
    """The judgement.  Raises `NoSuchAdapter` when `only` leaves nothing."""
    only = only or Only()
    wanted = only.adapter
    found = subjects(evidence, (lambda device: names_device(wanted, device, evidence)) if wanted else None)
    indexed = context(evidence, found)
    chosen = [subject for subject in found if _is_wanted(subject, only, evidence)]
    if not chosen and (only.adapter or only.vm):
        what = f"adapter `{only.adapter}`" if only.adapter else f"VM `{only.vm}`"
        known_ones = "; ".join(subject.label for subject in found) or "none"
        raise NoSuchAdapter(f"No chain belongs to {what}. Adapters in this evidence: {known_ones}.")
    chains = [chain(Scope(plain(view(indexed, subject))), subject, rules, evidence.gaps) for subject in chosen]
    chains.sort(key=lambda one: (WORST.index(one.state), one.route == "native", one.adapter.label))
    return Report(
        radiocheck_report=REPORT_FORMAT,
        tool=__version__,
        taken=evidence.taken.at,
        root=evidence.taken.root if known(evidence.taken.root) else None,
        host=host_line(evidence),
        verdict=verdict(chains, evidence),
        chains=chains,
        notes=notes(evidence, found),
        missing=_telling_gaps(chains, evidence.gaps),
    )


def _telling_gaps(chains: Sequence[Chain], gaps: Sequence[Gap]) -> list[Missing]:
    """The gaps worth telling: whole sources, and the details that a step was left unseen for."""
    asked = {item.what for one in chains for step in one.steps if step.state == "unseen" for item in step.missing}
    told = [gap for gap in gaps if gap.what.isidentifier() or re.split(r"[.\[]", gap.what)[0] in asked]
    return explain(list(dict.fromkeys(gap.what for gap in told)), told)


def names_device(text: str, device: UsbDevice, evidence: Evidence) -> bool:
    """Whether a person's word names this device: serial number, by-id name, tty, port path, VID:PID."""
    if text in (device.serial, device.name, device.path) or text.casefold() == f"{device.vid}:{device.pid}":
        return True
    ttys = device_ttys(device)
    word = text.rpartition("/")[2]
    if word in ttys:
        return True
    links = evidence.links if known(evidence.links) else []
    return any(link.path.rpartition("/")[2] == word and link.target in ttys for link in links)


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


def chain(facts: Facts, subject: Subject, rules: RuleSet, gaps: Sequence[Gap]) -> Chain:
    """The steps of one adapter in order; behind the first break nothing is judged."""
    route = cast(ChainRoute, facts.get("route", "unknown"))
    steps: list[Step] = []
    broken: StepName | None = None
    findings = _findings(facts, rules, gaps)
    for rule in rules.steps:
        if route != "unknown" and route not in rule.routes:
            steps.append(Step(step=rule.name, question=rule.question, state="unused", because=rule.unused))
        elif broken is not None:
            because = f"lies behind the break at {broken}"
            steps.append(Step(step=rule.name, question=rule.question, state="unreached", because=because))
        else:
            step = _step(rule, facts, findings.get(rule.name, []), gaps)
            steps.append(step)
            if step.state == "broken":
                broken = step.step
    blamed = broken or next((step.step for step in steps if step.state == "weak"), None)
    beyond = {rule.name for rule in rules.steps if rule.beyond}
    state = _state(steps, beyond)
    return Chain(
        adapter=_adapter(facts),
        route=route,
        vms=_vms(facts),
        state=state,
        step=blamed,
        sentence=_sentence(state, blamed, steps, beyond, facts, subject),
        steps=steps,
    )


def _findings(facts: Facts, rules: RuleSet, gaps: Sequence[Gap]) -> dict[str, list[Finding]]:
    """All findings by step; those that follow from another one are marked."""
    found = {name: finding(rule, facts, gaps) for name, rule in rules.rules.items()}
    because: dict[str, str] = {}
    for name, one in found.items():
        if one.result == "found":
            for other in rules.rules[name].explains:
                because.setdefault(other, name)
    by_step: dict[str, list[Finding]] = {}
    for name, one in found.items():
        if name in because and one.result == "found" and because.get(because[name]) != name:
            one = _explained(one, because[name])
        by_step.setdefault(rules.rules[name].step, []).append(one)
    for ones in by_step.values():
        ones.sort(key=lambda one: _order(one, rules.rules))
    return by_step


def _order(one: Finding, rules: Mapping[str, Rule]) -> tuple[int, int, int, str]:
    """Found before unknown before clear, breaks before strains, the more particular rule first."""
    return (
        ("found", "unknown", "clear").index(one.result),
        one.explained_by is not None,
        one.gravity == "strain",
        f"{99 - len(rules[one.rule].explains):02}{one.rule}",
    )


def _explained(one: Finding, by: str) -> Finding:
    import msgspec

    return msgspec.structs.replace(one, explained_by=by)


def _step(rule: StepRule, facts: Facts, findings: list[Finding], gaps: Sequence[Gap]) -> Step:
    own = [one for one in findings if one.result == "found" and one.explained_by is None]
    state: StepState = "unseen"
    if any(one.gravity == "break" for one in own):
        state = "broken"
    elif own:
        state = "weak"
    elif rule.sound is not None and evaluate(rule.sound, facts) is True:
        state = "sound"
    saw = [fill(sight.say, facts) for sight in rule.saw if complete(sight.say, facts) and _holds(sight.when, facts)]
    missing: list[Missing] = []
    if state == "unseen":
        missing = lacking(rule.sound.paths, facts, None, gaps) if rule.sound else []
        undecided = [one for one in findings if one.result == "unknown" and one.gravity == "break"]
        missing = list(dict.fromkeys([*missing, *(item for one in undecided for item in one.missing)]))
    return Step(
        step=rule.name,
        question=rule.question,
        state=state,
        saw=saw,
        because=rule.unseen if state == "unseen" else "",
        findings=findings,
        missing=missing,
    )


def _holds(condition: Condition | None, facts: Facts) -> bool:
    return condition is None or evaluate(condition, facts) is True


def _state(steps: Sequence[Step], beyond: set[StepName]) -> ChainState:
    states = {step.state for step in steps}
    if "broken" in states:
        return "broken"
    if "weak" in states:
        return "weak"
    if any(step.state == "unseen" and step.step not in beyond for step in steps):
        return "unseen"
    return "sound"


def _adapter(facts: Facts) -> Adapter:
    one, name = facts["adapter"], facts["name"]
    return Adapter(
        label=one.get("label", "an adapter"),
        present=one.get("present"),
        vid=one.get("vid"),
        pid=one.get("pid"),
        manufacturer=one.get("manufacturer"),
        product=one.get("product"),
        serial=one.get("serial"),
        port=one.get("name"),
        by_id=name.get("by_id"),
        tty=name.get("tty"),
    )


def _vms(facts: Facts) -> list[str]:
    return list(dict.fromkeys(one["vm"] for one in facts.get("assignments", []) if "vm" in one))


def _sentence(
    state: ChainState,
    blamed: StepName | None,
    steps: Sequence[Step],
    beyond: set[StepName],
    facts: Facts,
    subject: Subject,
) -> str:
    """One sentence for a chain: what, where, and what could hide it."""
    who = subject.label
    hidden = [step.step for step in steps if step.state == "unseen" and step.step not in beyond]
    if blamed is not None:
        step = next(step for step in steps if step.step == blamed)
        title = next(one.title for one in step.findings if one.result == "found" and one.explained_by is None)
        text = f"{state.capitalize()} at {blamed}: {title.rstrip('.')} ({who})."
        order = [step.step for step in steps]
        earlier = [name for name in hidden if order.index(name) < order.index(blamed)]
        if earlier:
            text += f" Not seen before it, and possibly the cause: {', '.join(earlier)}."
        return text
    if state == "unseen":
        return f"Not enough evidence about {who}: {', '.join(hidden)} could not be judged."
    held = [one["vm"] for one in facts.get("assignments", []) if one.get("running") is True and "vm" in one]
    where = f" up to the hand-over to {', '.join(dict.fromkeys(held))}" if held else " on this host"
    return f"Sound{where}: {who}."


def verdict(chains: Sequence[Chain], evidence: Evidence) -> Verdict:
    """The worst chain's word for all."""
    if not chains:
        if not known(evidence.usb):
            return Verdict(state="unseen", step=None, sentence="Not enough evidence: the USB bus could not be read.")
        return Verdict(
            state="unseen",
            step=None,
            sentence="Nothing to judge: no USB serial adapter is on the bus, and no VM configuration asks for one.",
        )
    worst = chains[0]
    sentence = worst.sentence
    alike = [one for one in chains if one.state == worst.state]
    if len(chains) > 1:
        if worst.state == "sound":
            sentence = f"Sound: all {len(chains)} adapters, as far as this host can see."
        elif len(alike) > 1:
            sentence += (
                f" {len(alike) - 1} more of {len(chains)} adapters {'is' if len(alike) == 2 else 'are'} {worst.state}."
            )
    return Verdict(state=worst.state, step=worst.step, sentence=sentence)


def host_line(evidence: Evidence) -> str:
    """The machine in one line."""
    host = evidence.host
    if not known(host):
        return "unknown host"
    words = [host.distribution if isinstance(host.distribution, str) else "Linux"]
    if known(host.kernel):
        words.append(f"kernel {host.kernel}")
    if known(host.virtualisation):
        words.append(f"itself a guest ({host.virtualisation})" if host.virtualisation else "bare metal")
    if known(host.container) and host.container:
        words.append(f"in a container ({host.container})")
    return ", ".join(words)


def notes(evidence: Evidence, found: Sequence[Subject]) -> list[str]:
    """What concerns the whole machine."""
    said = []
    hosts_vms = (known(evidence.qemu) and evidence.qemu) or (known(evidence.domains) and evidence.domains)
    if known(evidence.host) and isinstance(evidence.host.virtualisation, str) and not hosts_vms:
        said.append("This machine is itself a guest: the host's side of the chain is not visible from here.")
    if known(evidence.host) and isinstance(evidence.host.container, str):
        said.append("radiocheck runs in a container and sees only what the container is shown; run it on the host.")
    return said
