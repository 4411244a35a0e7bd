"""From the findings about one adapter to its steps and its chain."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

from radiocheck.evidence.record import Gap

from .condition import Condition, evaluate
from .finding import finding, lacking
from .fold import HOST_STEPS, folded, followed, joined
from .rule import Rule, RuleSet, StepRule
from .subjects import Subject
from .template import complete, fill
from .verdict import Adapter, Chain, ChainRoute, ChainState, Finding, Missing, Step, StepName, StepState

Facts = Mapping[str, Any]


def chain(facts: Facts, subject: Subject, rules: RuleSet, gaps: Sequence[Gap], side: Step | None = None) -> Chain:
    """The steps of one adapter in order; behind the first break nothing is judged.

    `side`: the VM's own side, as it was judged in the VM.
    """
    route = cast(ChainRoute, facts.get("route", "unknown"))
    inside = facts["host"].get("inside") is True
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
            if side is not None and rule.name == "guest":
                step = joined(step, side)
            if step.state == "broken":
                broken = step.step
                if broken in HOST_STEPS and not inside:
                    step = followed(step, findings.get("guest", []))
            steps.append(step)
    beyond = {rule.name for rule in rules.steps if rule.beyond}
    if inside:
        steps = folded(steps, findings.get("guest", []))
        route, beyond = "received", (beyond | set(HOST_STEPS)) - {"guest"}
    elif route in ("device", "controller") and _was_captured(facts["guest"]):
        beyond.discard("guest")
    broken = next((step.step for step in steps if step.state == "broken"), None)
    blamed = broken or next((step.step for step in steps if step.state == "weak"), None)
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


def _was_captured(guest: Facts) -> bool:
    """Whether a capture of the VM is at hand, as far as it can be told which VM that is."""
    return guest.get("given") is True and guest.get("same_vm") is not False


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
        because=fill(rule.unseen, facts) if state == "unseen" else "",
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
    if facts["host"].get("inside") is True:
        where = " in this VM"
    elif any(step.step == "guest" and step.state == "sound" for step in steps):
        where = f" up to the port in {facts['guest']['vm']}"
    return f"Sound{where}: {who}."
