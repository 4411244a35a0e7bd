"""The two sides of one chain: what the VM's own capture makes of the verdict of its host."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.judge import Only, judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import Report, Step
from radiocheck.evidence.record import Evidence, Gap, KernelLog, Taken
from radiocheck.evidence.serial import Handles
from radiocheck.evidence.usb import Module
from radiocheck.evidence.vm import UsbHostArg

from . import guests as g
from . import machines as m
from .test_judge import own
from .test_pair import behind, guest_with, host_with_two

RULES = load([shipped()])
BARE: dict[str, Any] = {"ttys": [], "links": [], "modules": []}
MIRA = m.native().users[0]
AS_ROOT = [Gap(what="host.uuid", why="denied", provide="run as root")]


def guest_step(report: Report) -> Step:
    """The step `guest` of the worst chain."""
    return next(step for step in report.chains[0].steps if step.step == "guest")


def two_hold(**change: Any) -> Evidence:
    """A host on which two QEMU processes hold the node."""
    return g.host(
        handles=Handles(open=[m.hold(), m.hold(701)], unread=0),
        qemu=[m.process(uuid=g.HEARTH), m.process("attic", 701, uuid=g.ATTIC)],
        **change,
    )


def attic_runs() -> Evidence:
    """A host whose other VM runs too, and has nothing."""
    host = g.host()
    domains = [host.domains[0], m.domain("attic", uuid=g.ATTIC, live=m.definition(), next=m.definition())]
    return structs.replace(host, domains=domains, qemu=[*host.qemu, m.process("attic", 701, uuid=g.ATTIC)])


CONTROLLER = g.controller(vid="1912", pid="0014")
HEALTHY: dict[str, tuple[Evidence, Evidence]] = {
    "libvirt": (g.host(), g.hearth()),
    "plain QEMU": (
        g.host(domains=[], qemu=[m.process(uuid=g.HEARTH, uid=0, usb=[UsbHostArg(bus=1, port="2")])]),
        g.hearth(),
    ),
    "two sticks, one VM": (host_with_two(("A1B2C3", "D4E5F6")), g.hearth()),
    "a UUID that only libvirt tells": (g.host(qemu=[m.process()]), g.hearth()),
    "the VM does not tell its UUID, and shows the serial number": (g.host(), g.hearth(host=g.host_of(UNSET))),
    "a whole controller": (
        behind(handles=Handles(open=[structs.replace(m.hold(), path="/dev/vfio/7", major=242, minor=0)], unread=0)),
        g.hearth(controllers=[CONTROLLER]),
    ),
}


@pytest.mark.parametrize("name", [name for name in HEALTHY if name != "two sticks, one VM"])
def test_healthy_from_socket_to_port(name: str) -> None:
    """Both sides sound: no finding, the step `guest` is proven, and the sentence goes as far as that."""
    report = judge(HEALTHY[name][0], RULES, None, HEALTHY[name][1])
    assert own(report.chains[0]) == []
    assert (report.verdict.state, guest_step(report).state) == ("sound", "sound")
    assert report.verdict.sentence.startswith("Sound up to the port in the VM hearth")
    assert any(said.startswith("the VM hearth has it as /dev/serial/by-id/") for said in guest_step(report).saw)


FAULTS: dict[str, tuple[Evidence, Evidence, str, str, str]] = {
    "no module in the VM": (g.host(), g.undriven(), "broken", "guest", "driver-module-missing"),
    "module on the VM's block list": (
        g.host(),
        g.undriven(available=True, blocked_by="/etc/modprobe.d/vm.conf: blacklist cdc_acm"),
        "broken",
        "guest",
        "driver-module-blocked",
    ),
    "no right in the VM": (
        g.host(),
        g.hearth(users=[structs.replace(MIRA, groups=[1000], session_groups=[1000])]),
        "broken",
        "guest",
        "user-lacks-rights",
    ),
    "the VM's modem prober": (
        g.host(),
        g.hearth(services=[m.service("modem-prober", "ModemManager.service", policy="paranoid")]),
        "weak",
        "guest",
        "modem-prober-may-take-it",
    ),
    "held, and not there": (g.host(), g.hearth(usb=[m.root_hub()], **BARE), "broken", "guest", "not-seen-by-guest"),
    "no USB bus in the VM": (g.host(), g.hearth(usb=[], **BARE), "broken", "guest", "guest-has-no-usb-controller"),
    "refused": (g.host(), g.refused(), "broken", "guest", "guest-config-refused"),
    "refused, and two hold it": (two_hold(), g.refused(), "broken", "handover", "held-by-two-hypervisors"),
    "a ghost after a replug": (g.replugged(), g.hearth(), "broken", "handover", "lost-by-replug"),
    "a ghost that only the pair shows": (
        g.host(handles=Handles(open=[structs.replace(m.hold(), path="/dev/null", major=1, minor=3)], unread=0)),
        g.hearth(),
        "broken",
        "guest",
        "ghost-in-guest",
    ),
    "another VM was captured": (
        attic_runs(),
        g.hearth(host=g.host_of(g.ATTIC), usb=[m.root_hub()], **BARE),
        "weak",
        "guest",
        "wrong-guest-captured",
    ),
    "a ghost in another VM": (
        attic_runs(),
        g.hearth(host=g.host_of(g.ATTIC)),
        "weak",
        "guest",
        "ghost-in-other-guest",
    ),
    "hours apart": (
        g.host(),
        g.hearth(taken=Taken(at=m.NOW + 20_000, tool="t", root=True)),
        "weak",
        "guest",
        "captures-far-apart",
    ),
    "started anew between": (
        g.host(),
        g.hearth(host=g.host_of(booted=m.NOW + 500), taken=Taken(at=m.NOW + 900, tool="t", root=True)),
        "weak",
        "guest",
        "guest-started-between",
    ),
    "a controller without the stick": (
        behind(handles=Handles(open=[structs.replace(m.hold(), path="/dev/vfio/7", major=242, minor=0)], unread=0)),
        g.hearth(usb=[m.root_hub()], controllers=[CONTROLLER], **BARE),
        "broken",
        "guest",
        "not-seen-by-guest",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_one_fault_one_headline(name: str) -> None:
    """The step that is blamed is where the fault is, by the rule that is named for it, and by no other break."""
    host, guest, state, step, rule = FAULTS[name]
    report = judge(host, RULES, None, guest)
    worst = report.chains[0]
    assert (report.verdict.state, report.verdict.step) == (state, step), own(worst)
    blamed = next(one for one in worst.steps if one.step == step)
    mine = [one for one in blamed.findings if one.result == "found" and one.explained_by is None]
    assert rule in [one.rule for one in mine]
    assert sum(one.gravity == "break" for one in mine) == (1 if state == "broken" else 0), mine
    assert report.verdict.sentence.count("(not seen)") == 0


@pytest.mark.parametrize("name", FAULTS)
def test_what_the_vm_shows_of_a_break_is_told_with_it(name: str) -> None:
    """A host that is broken before the VM keeps its headline; the ghost or the refusal in the VM follows from it."""
    host, guest, _, step, _ = FAULTS[name]
    alone, both = judge(host, RULES), judge(host, RULES, None, guest)
    if alone.verdict.state == "broken":
        assert (both.verdict.step, both.verdict.sentence) == (alone.verdict.step, alone.verdict.sentence)
        handover = next(one for one in both.chains[0].steps if one.step == step)
        told = [one.rule for one in handover.findings if one.explained_by is not None]
        assert {"ghost-in-guest", "guest-config-refused"} & set(told)


def test_without_a_capture_the_step_is_beyond() -> None:
    """Only the VM can show it: unseen, with the way to show it, and the chain is sound as far as the host sees."""
    report = judge(g.host(), RULES)
    step = guest_step(report)
    assert (report.verdict.state, step.state, step.because) == ("sound", "unseen", "only the VM can show it")
    assert {one.provide for one in step.missing} == {
        "run `radiocheck capture FILE` in the VM and give FILE with --guest"
    }
    assert {one.result for one in step.findings} == {"unknown"}


def test_with_a_capture_the_step_counts() -> None:
    """What the VM's capture could not see keeps the chain from being sound, and the report says what is missing."""
    blind = g.hearth(
        host=g.host_of(UNSET),
        handles=Handles(open=[], unread=30),
        gaps=[*AS_ROOT, Gap(what="handles", why="denied", provide="run as root")],
    )
    report = judge(g.host(), RULES, None, blind)
    step = guest_step(report)
    assert (report.verdict.state, step.state) == ("unseen", "unseen")
    assert "run as root (in the VM)" in [one.provide for one in step.missing]


@pytest.mark.parametrize("same_vm", [True, False])
def test_an_adapter_that_is_not_there_needs_the_right_vm(same_vm: bool) -> None:
    """An empty VM breaks the chain only when its UUID shows that it is the right one; else it is not known."""
    empty = g.hearth(usb=[m.root_hub()], host=g.host_of(g.HEARTH if same_vm else UNSET), gaps=AS_ROOT, **BARE)
    report = judge(g.host(), RULES, None, empty)
    assert report.verdict.state == ("broken" if same_vm else "unseen")
    if not same_vm:
        assert ("guest.host", "run as root (in the VM)") in [(x.what, x.provide) for x in guest_step(report).missing]


def test_two_alike_are_reported_and_not_guessed() -> None:
    """With two identical ones in the VM the step is unseen, says why, and takes over nothing of either."""
    host = g.host(usb=m.given_away(m.stick(serial=None, interfaces=[m.interface(driver="usbfs", ttys=())])))
    report = judge(host, RULES, None, g.hearth(usb=guest_with(None, None)))
    step = guest_step(report)
    assert (step.state, step.because) == ("unseen", "the VM hearth has 2 devices that could be it")
    assert [one.result for one in step.findings if one.rule == "not-seen-by-guest"] == ["unknown"]
    assert "no-serial-number" not in [one.rule for one in step.findings]


def test_two_alike_of_the_host() -> None:
    """One device in the VM that could be either of the host's two is neither."""
    report = judge(host_with_two((None, None)), RULES, None, g.hearth(usb=guest_with(None)))
    assert {guest_step(structs.replace(report, chains=[chain])).because for chain in report.chains} == {
        "the VM hearth has a device that could be this adapter or another one of this host"
    }


def test_a_capture_concerns_only_its_own_vm() -> None:
    """A host with an adapter for each of two VMs: the capture of the one leaves the other as it was."""
    host = host_with_two(("A1B2C3", "D4E5F6"), "attic")
    handles = Handles(open=[m.hold(), m.hold(701, 4)], unread=0)
    report = judge(structs.replace(host, handles=handles), RULES, None, g.hearth())
    assert report.verdict.state == "sound"
    steps = {chain.adapter.serial: next(s for s in chain.steps if s.step == "guest") for chain in report.chains}
    assert steps["A1B2C3"].state == "sound"
    assert (steps["D4E5F6"].state, steps["D4E5F6"].because) == (
        "unseen",
        "the capture that was given is of the VM hearth",
    )


def test_nothing_is_said_of_a_ghost_when_the_captures_do_not_belong_together() -> None:
    """Hours apart, the ghost of a replugged host is not found: it may have been there then."""
    late = g.hearth(taken=Taken(at=m.NOW + 20_000, tool="t", root=True))
    report = judge(g.replugged(), RULES, None, late)
    handover = next(step for step in report.chains[0].steps if step.step == "handover")
    assert "ghost-in-guest" not in [one.rule for one in handover.findings]


PAIRS = {**HEALTHY, **{name: fault[:2] for name, fault in FAULTS.items()}}
PARTS = ("host", "usb", "kernel_log", "ttys", "links", "modules", "users", "handles", "services", "controllers")


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("name", [*HEALTHY, *FAULTS])
def test_losing_a_part_of_the_vms_capture_flips_nothing(name: str, part: str) -> None:
    """Without one source of the VM's evidence every rule of `guest` says the same as before, or does not know."""
    host, guest = PAIRS[name]
    assert flips(answers(host, guest), answers(host, structs.replace(guest, **{part: UNSET}))) == {}


@pytest.mark.parametrize("part", ["qemu", "domains", "handles", "controllers", "kernel_log"])
@pytest.mark.parametrize("name", [*HEALTHY, *FAULTS])
def test_losing_a_part_of_the_hosts_capture_flips_nothing(name: str, part: str) -> None:
    """The same for the host's evidence."""
    host, guest = PAIRS[name]
    assert flips(answers(host, guest), answers(structs.replace(host, **{part: UNSET}), guest)) == {}


def flips(before: dict[Any, str], after: dict[Any, str]) -> dict[Any, tuple[str, str]]:
    """Answers that became the other answer."""
    both = {key: (before[key], after[key]) for key in before.keys() & after.keys()}
    return {key: pair for key, pair in both.items() if pair[1] not in (pair[0], "unknown")}


def answers(host: Evidence, guest: Evidence) -> dict[tuple[str, str], str]:
    """What the rules of the step `guest` itself say, by adapter."""
    report = judge(host, RULES, None, guest)
    return {
        (chain.adapter.label, one.rule): one.result
        for chain in report.chains
        for step in chain.steps
        for one in step.findings
        if RULES.rules[one.rule].step == "guest"
    }


# --- inside the VM alone


INSIDE: dict[str, tuple[Evidence, str, str | None]] = {
    "healthy": (g.hearth(), "sound", None),
    "no module": (g.undriven(), "broken", "driver-module-missing"),
    "refused by its host": (g.refused(), "broken", "guest-config-refused"),
    "gone": (
        g.hearth(
            usb=[m.root_hub()],
            kernel_log=KernelLog(
                source="journal", events=[*m.arrival("1-1", 2), m.departure("1-1", 2)], from_boot=True
            ),
            **BARE,
        ),
        "broken",
        "left-the-bus",
    ),
}


@pytest.mark.parametrize("name", INSIDE)
def test_in_the_vm(name: str) -> None:
    """The same program in the VM blames the step `guest`, by the rule of the part that is broken."""
    evidence, state, rule = INSIDE[name]
    report = judge(evidence, RULES)
    chain = report.chains[0]
    assert (report.verdict.state, report.verdict.step) == (state, "guest" if rule else None)
    assert [name for _, name in own(chain)] == ([rule] if rule else [])
    assert chain.route == "received"


def test_a_nested_hypervisor_is_a_host() -> None:
    """A VM in which QEMU is installed is judged as a host: its break is at its own step."""
    nested = structs.replace(g.undriven(), host=g.host_of(hypervisor=True))
    assert (judge(nested, RULES).verdict.step, judge(nested, RULES).chains[0].route) == ("driver", "native")


def test_an_older_capture_of_a_vm_is_judged_as_before() -> None:
    """Without the fact whether VMs run there it is taken for a host."""
    old = structs.replace(g.undriven(), host=g.host_of(hypervisor=UNSET, uuid=UNSET))
    assert judge(old, RULES).verdict.step == "driver"


def test_virtual_ports_are_no_sockets() -> None:
    """A SuperSpeed disk beside the stick on the VM's own controller is no neighbour; on a real card it is."""
    disk = m.stick(
        "2-2", 3, "D1", product="Disk", speed=5000.0, port="usb2-port2", controller="0000:00:03.0",
        interfaces=[structs.replace(m.interface("2-2:1.0", driver="usb-storage", ttys=()), class_=8)],
    )  # fmt: skip
    ports = [
        m.port(1, "1-1", peer="usb2-port1"),
        m.port(2, None, peer="usb2-port2"),
        m.port(1, None, peer="usb1-port1", name="usb2-port1", hub="usb2"),
        m.port(2, "2-2", peer="usb1-port2", name="usb2-port2", hub="usb2"),
    ]
    house = g.hearth(usb=[m.root_hub(), m.root_hub(2), g.stick(), disk], ports=ports)
    assert own(judge(house, RULES).chains[0]) == []
    real = structs.replace(house, controllers=[CONTROLLER])
    assert own(judge(real, RULES).chains[0]) == [("air", "superspeed-neighbour")]


def test_a_filter_counts_for_the_host() -> None:
    """`--adapter` and `--vm` name the host's adapters and VMs, with a capture beside or not."""
    report = judge(g.host(), RULES, Only(adapter="A1B2C3", vm="hearth"), g.hearth())
    assert len(report.chains) == 1


def test_a_module_of_the_vm_is_not_the_hosts() -> None:
    """The VM's findings come from its own evidence: a module that the host lacks does not matter."""
    host = g.host(modules=[Module(name="cdc_acm", interfaces=["1-2:1.0"], loaded=False, available=False)])
    assert judge(host, RULES, None, g.hearth()).verdict.state == "sound"
