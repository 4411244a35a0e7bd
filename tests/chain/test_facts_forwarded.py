"""A host's tty that a VM is given as its serial port."""

from __future__ import annotations

from typing import Any

from msgspec import structs

from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Handle, Handles
from radiocheck.evidence.vm import Definition, TtyArg

from . import machines as m
from .test_judge import own, report


def serial(path: str = m.BY_ID, *more: Any) -> Definition:
    """A definition with that tty, and USB devices."""
    return structs.replace(m.definition(*more), ttys=[TtyArg(path=path)])


def qemu_has_it() -> Handle:
    """The tty, open in the VM's QEMU process."""
    return structs.replace(m.open_tty("qemu-system-x86", 700, 64055), hypervisor=True)


def forwarded(*handles: Handle, **change: Any) -> Evidence:
    """The running VM `hearth` with the stick's tty by its stable link."""
    facts: dict[str, Any] = {
        "domains": [m.domain(live=serial(), next=serial())],
        "qemu": [m.process(own_nodes=[])],
        "handles": Handles(open=list(handles), unread=0),
    }
    return m.native(**{**facts, **change})


def test_a_sound_serial_port() -> None:
    """By its by-id link, open in QEMU: nothing is wrong, and the guest's view of it is told."""
    chain = report(forwarded(qemu_has_it())).chains[0]
    assert (chain.route, chain.state, own(chain)) == ("forwarded", "sound", [])
    guest = next(step for step in chain.steps if step.step == "guest")
    assert any("ttyS0" in line for line in guest.saw)


def test_a_program_of_the_host_was_quicker() -> None:
    """After a replug a service has the node, and QEMU does not."""
    chain = report(forwarded(m.open_tty("mesh-server", uid=998, unit="mesh.service"))).chains[0]
    assert own(chain) == [("handover", "forwarded-node-held")]


def test_nobody_has_it() -> None:
    """QEMU lost it, and nobody took it."""
    assert own(report(forwarded()).chains[0]) == [("handover", "forwarded-node-not-open")]


def test_a_program_shares_it() -> None:
    """Both read the radio's answers."""
    chain = report(forwarded(qemu_has_it(), m.open_tty("mesh-server", uid=998, unit="mesh.service"))).chains[0]
    assert own(chain) == [("access", "held-by-two-programs")]


def test_asked_for_in_two_ways() -> None:
    """As a tty and as a USB device of one VM that is off: they exclude each other."""
    both = serial(m.BY_ID, m.IDS)
    chain = report(m.native(domains=[m.domain(next=both)])).chains[0]
    assert chain.route == "device"
    assert own(chain) == [("assignment", "forwarded-beside-device"), ("handover", "vm-off")]


def test_an_old_line_of_a_vm_that_stays_off() -> None:
    """The by-id name ties it to the stick that another VM has, where its tty is rightly gone: no trouble."""
    attic = m.domain("attic", next=serial(), autostart=False)
    evidence = m.passed(domains=[m.domain(live=m.definition(m.bound()), next=m.definition(m.IDS)), attic])
    result = report(evidence)
    assert [(chain.vms, own(chain)) for chain in result.chains] == [(["hearth", "attic"], [])]
    assert result.verdict.state == "sound"


def test_two_vms_that_start_with_the_host() -> None:
    """The same with autostart: whoever starts first wins."""
    attic = m.domain("attic", next=serial())
    evidence = m.passed(domains=[m.domain(live=m.definition(m.bound()), next=m.definition(m.IDS)), attic])
    assert own(report(evidence).chains[0]) == [("assignment", "forwarded-beside-device")]
