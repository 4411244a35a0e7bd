"""The steps of a chain that was judged inside the VM: all that the VM shows is its host's `guest` step."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from .facts_guest import there
from .verdict import Finding, Missing, Remedy, Step, StepName, StepState

HOST_STEPS: tuple[StepName, ...] = ("power", "bus", "driver", "name", "access", "assignment", "handover")
INNER: tuple[StepName, ...] = ("power", "bus", "driver", "name", "access")  # the same questions, asked in the VM
BECAUSE = "this machine is a VM; only its host shows it: run radiocheck there"
WORST: tuple[StepState, ...] = ("broken", "weak", "unseen", "sound")


def folded(steps: Sequence[Step], own: Sequence[Finding]) -> list[Step]:
    """The steps with those of the host unseen, and their findings and states gathered in `guest`.

    `own`: findings of the rules of the step `guest` itself.  A break stays a break; what
    was judged behind it stays away, as in every chain.
    """
    parts = [step for step in steps if step.step in INNER and step.state in WORST]
    result: list[Step] = []
    for step in steps:
        if step.step in HOST_STEPS:
            result.append(Step(step=step.step, question=step.question, state="unseen", because=BECAUSE))
        elif step.step == "guest":
            result.append(_gathered(step, parts, own))
        else:
            result.append(step)
    return _behind(result)


def _gathered(step: Step, parts: Sequence[Step], own: Sequence[Finding]) -> Step:
    findings = sorted([*own, *(one for part in parts for one in part.findings)], key=_order)
    mine = [one for one in own if one.result == "found" and one.explained_by is None]
    states: set[StepState] = {part.state for part in parts}
    for one in mine:
        states.add("broken" if one.gravity == "break" else "weak")
    state: StepState = next((word for word in WORST if word in states), "unseen")
    dark = [part for part in parts if part.state == "unseen"]
    names = ", ".join(part.step for part in dark)
    return Step(
        step=step.step,
        question=step.question,
        state=state,
        saw=[said for part in parts for said in part.saw],
        because=f"not everything could be seen in this VM: {names}" if state == "unseen" else "",
        findings=findings,
        missing=list(dict.fromkeys(one for part in dark for one in part.missing)) if state == "unseen" else [],
    )


def followed(step: Step, shown: Sequence[Finding]) -> Step:
    """A step that is broken on the host, with what the VM shows of that break."""
    cause = next(one.rule for one in step.findings if one.result == "found" and one.explained_by is None)
    found = [one for one in shown if one.result == "found" and one.gravity == "break"]
    return replace(step, findings=[*step.findings, *(replace(one, explained_by=cause) for one in found)])


def _behind(steps: Sequence[Step]) -> list[Step]:
    """Nothing is judged behind a break, and what was behind one that is now part of `guest` still is not."""
    broken = any(step.step == "guest" and step.state == "broken" for step in steps)
    if not broken:
        return list(steps)
    at = [step.step for step in steps].index("guest")
    because = "lies behind the break at guest"
    return [
        step if index <= at else Step(step=step.step, question=step.question, state="unreached", because=because)
        for index, step in enumerate(steps)
    ]


def _order(one: Finding) -> tuple[int, bool, bool]:
    """Found before unknown before clear, breaks before strains; else in the order of the chain."""
    return ("found", "unknown", "clear").index(one.result), one.explained_by is not None, one.gravity == "strain"


def joined(step: Step, side: Step) -> Step:
    """The host's `guest` step with what was judged in the VM itself, which is told as the VM's.

    A rule that both sides asked is told once.
    """
    found = {one.rule for one in step.findings if one.result == "found"}
    theirs = {one.rule: _told(one) for one in side.findings if one.rule not in found and one.result == "found"}
    asked = {one.rule for one in step.findings}
    rest = [_told(one) for one in side.findings if one.result != "found" and one.rule not in asked]
    mine = [one for one in step.findings if one.rule not in theirs]
    findings = sorted([*mine, *theirs.values(), *rest], key=_order)
    state = next(word for word in WORST if word in (step.state, side.state))
    missing = [*step.missing, *(_missing(one) for one in side.missing)] if state == "unseen" else []
    return replace(
        step,
        state=state,
        saw=[*step.saw, *side.saw],
        because=step.because if state == "unseen" else "",
        findings=findings,
        missing=list(dict.fromkeys(missing)),
    )


def _told(one: Finding) -> Finding:
    if one.result == "unknown":
        return replace(one, missing=[_missing(lack) for lack in one.missing])
    seen = f"in the VM: {one.seen}" if one.seen else ""
    return replace(one, seen=seen, remedies=[_remedy(remedy) for remedy in one.remedies])


def _remedy(remedy: Remedy) -> Remedy:
    return replace(remedy, do=f"In the VM: {remedy.do}")


def _missing(one: Missing) -> Missing:
    return replace(one, what=f"guest.{one.what}", provide=there(one.provide))
