"""What is judged in the VM becomes its host's `guest` step, and nothing of it is lost."""

from __future__ import annotations

from typing import Any, get_args

from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from radiocheck.chain.fold import HOST_STEPS, INNER, folded, followed, joined
from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import Chain, Finding, Missing, Remedy, Step, StepName
from radiocheck.evidence.record import Evidence

from . import guests as g
from .test_judge import FAULTS, HEALTHY

RULES = load([shipped()])
NAMES = get_args(StepName)


def found(rule: str = "a", gravity: Any = "break", **change: Any) -> Finding:
    """A finding."""
    base = Finding(rule=rule, result="found", gravity=gravity, title=f"Title of {rule}", seen="something")
    return structs.replace(base, **change)


@st.composite
def findings(draw: st.DrawFn, state: str, name: str) -> list[Finding]:
    """Findings that a step of that state has."""
    own = [found(f"{name}-own", "break" if state == "broken" else "strain")] if state in ("broken", "weak") else []
    explained = [found(f"{name}-follows", explained_by="other")] if draw(st.booleans()) else []
    return own + explained + [Finding(rule=f"{name}-clear", result="clear", gravity="break")]


@st.composite
def chains(draw: st.DrawFn) -> list[Step]:
    """The steps of a chain as they were judged inside, with whatever lies behind a break unreached."""
    steps: list[Step] = []
    broken = False
    for name in NAMES:
        if name in ("assignment", "handover", "guest"):
            state: Any = "unused"
        elif broken:
            state = "unreached"
        else:
            state = draw(st.sampled_from(["sound", "weak", "broken", "unseen"]))
        broken = broken or state == "broken"
        told = draw(findings(state, name)) if state not in ("unused", "unreached") else []
        missing = [Missing(what=name, why="w", provide="p")] if state == "unseen" else []
        steps.append(Step(step=name, question="?", state=state, findings=told, saw=[f"saw {name}"], missing=missing))
    return steps


@settings(deadline=None)
@given(chains(), st.lists(st.sampled_from([found("x"), found("y", "strain")]), max_size=1))
def test_folding_loses_nothing(steps: list[Step], own: list[Finding]) -> None:
    """Every finding of the VM is in `guest`, which is as bad as its worst part; the host's steps are unseen."""
    result = {step.step: step for step in folded(steps, own)}
    assert list(result) == list(NAMES)
    assert all(result[name].state == "unseen" and not result[name].findings for name in HOST_STEPS)
    parts = [step for step in steps if step.step in INNER]
    guest = result["guest"]
    inside = [one for part in parts for one in part.findings]
    assert sorted(one.rule for one in guest.findings) == sorted(one.rule for one in [*inside, *own])
    worst = {part.state for part in parts} | {"broken" if one.gravity == "break" else "weak" for one in own}
    assert guest.state == next(state for state in ("broken", "weak", "unseen", "sound") if state in worst)
    assert (guest.missing != []) is (guest.state == "unseen")
    behind = [result["radio"].state, result["air"].state]
    assert (behind == ["unreached"] * 2) if guest.state == "broken" else "unreached" not in behind[:1]


@settings(deadline=None)
@given(chains())
def test_the_first_break_leads(steps: list[Step]) -> None:
    """The finding told first is a break that follows from nothing, when there is one."""
    guest = next(step for step in folded(steps, []) if step.step == "guest")
    if guest.state == "broken":
        first = guest.findings[0]
        assert (first.result, first.gravity, first.explained_by) == ("found", "break", None)


def in_vm(evidence: Evidence) -> Evidence:
    """The same machine, as a VM without programs that run VMs."""
    host = structs.replace(evidence.host, virtualisation="kvm", hypervisor=False)
    return structs.replace(evidence, host=host, qemu=[], domains=[])


def breaks(chain: Chain) -> set[str]:
    """The rules that name a break."""
    return {
        one.rule
        for step in chain.steps
        for one in step.findings
        if one.result == "found" and one.gravity == "break" and one.explained_by is None
    }


def test_every_break_of_a_native_adapter_is_a_break_at_guest() -> None:
    """Each machine of the house without VMs, told as a VM: the same breaks, and the step that is blamed is `guest`."""
    compared = 0
    for evidence in [*HEALTHY.values(), *(fault[0] for fault in FAULTS.values())]:
        if evidence.qemu or evidence.domains:
            continue
        outside, inside = judge(evidence, RULES), judge(in_vm(evidence), RULES)
        assert [breaks(chain) for chain in inside.chains] == [breaks(chain) for chain in outside.chains]
        if outside.verdict.state == "broken":
            assert (inside.verdict.state, inside.verdict.step) == ("broken", "guest")
            compared += 1
    assert compared >= 4


def test_a_vm_in_words() -> None:
    """Route and sentence are those of a VM; the steps of the host ask for radiocheck there."""
    chain = judge(g.hearth(), RULES).chains[0]
    assert (chain.route, chain.state, chain.vms) == ("received", "sound", [])
    assert chain.sentence == "Sound in this VM: Lindenhof Mesh stick A1B2C3."
    assert "run radiocheck there" in chain.steps[0].because


# --- two captures


def test_joined_is_told_as_the_vms() -> None:
    """What was seen and what to do carry the place, what is missing too; a rule that both sides asked is told once."""
    host = Step(step="guest", question="?", state="broken", findings=[found("both")], saw=["host saw"])
    theirs = found("theirs", "strain", remedies=[Remedy(do="Do it", risk="reads")])
    lacking = Finding(
        rule="open", result="unknown", gravity="break", missing=[Missing(what="usb", why="w", provide="p")]
    )
    side = Step(step="guest", question="?", state="weak", findings=[found("both"), theirs, lacking], saw=["VM saw"])
    both = joined(host, side)
    assert both.state == "broken"
    assert [one.rule for one in both.findings] == ["both", "theirs", "open"]
    assert both.saw == ["host saw", "VM saw"]
    assert both.findings[1].seen == "in the VM: something"
    assert both.findings[1].remedies[0].do == "In the VM: Do it"
    assert both.findings[2].missing == [Missing(what="guest.usb", why="w", provide="p (in the VM)")]


def test_a_side_that_is_sound_does_not_prove_the_step() -> None:
    """The host's own doubt stays: unseen is not outvoted by a sound VM, nor is the VM's by a sound host."""
    doubt = Step(
        step="guest", question="?", state="unseen", because="why", missing=[Missing(what="a", why="b", provide="")]
    )
    sound = Step(step="guest", question="?", state="sound")
    assert (joined(doubt, sound).state, joined(doubt, sound).because) == ("unseen", "why")
    assert joined(sound, doubt).state == "unseen"
    assert joined(sound, doubt).missing[0].what == "guest.a"


def test_a_break_of_the_host_shows_what_the_vm_shows_of_it() -> None:
    """Breaks that the VM shows follow from the host's; strains are another matter."""
    step = Step(
        step="handover", question="?", state="broken", findings=[found("lost"), found("x", explained_by="lost")]
    )
    told = followed(step, [found("ghost"), found("late", "strain"), Finding(rule="z", result="clear", gravity="break")])
    assert [(one.rule, one.explained_by) for one in told.findings] == [("lost", None), ("x", "lost"), ("ghost", "lost")]
    chain = judge(g.replugged(), RULES, None, g.hearth()).chains[0]
    handover = next(step for step in chain.steps if step.step == "handover")
    assert ("ghost-in-guest", "lost-by-replug") in [(one.rule, one.explained_by) for one in handover.findings]
    assert chain.step == "handover"
