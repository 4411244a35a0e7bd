"""Which other lines compete for an adapter."""

from __future__ import annotations

from msgspec import UNSET, structs

from radiocheck.chain.context import context
from radiocheck.chain.rivals import Rivals, rivals
from radiocheck.chain.subjects import Subject, subjects
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.vm import UsbHostArg

from . import machines as m
from .restarts import IDS, two_vms


def of(evidence: Evidence) -> tuple[Subject, Rivals]:
    """The stick, and all who compete for it."""
    found = subjects(evidence)
    return found[0], rivals(context(evidence, found), found[0])


def names(evidence: Evidence) -> list[str]:
    """The VMs that compete with `hearth`."""
    subject, others = of(evidence)
    mine = next(item for item in subject.items if item.vm == "hearth")
    return [one.vm for one in others.of(mine)]


def test_a_line_that_picks_it_out() -> None:
    """Another VM's line by IDs competes; a line by another number does not."""
    assert names(two_vms(autostart=True)) == ["attic"]
    apart = m.process("attic", 701, uid=0, usb=[UsbHostArg(bus=1, address=99)], libvirt=False)
    assert names(m.passed(qemu=[m.process(libvirt=True), apart])) == []


def test_a_line_without_a_selector() -> None:
    """A plain QEMU that takes anything competes for every adapter; libvirt's dummy for a missing one does not."""
    wild = m.process("attic", 701, uid=0, usb=[UsbHostArg()], libvirt=False)
    assert names(m.passed(qemu=[m.process(libvirt=True), wild])) == ["attic"]
    assert names(m.passed(qemu=[m.process(libvirt=True), structs.replace(wild, libvirt=True)])) == []


def test_what_was_not_read_may_compete() -> None:
    """A hidden command line, or libvirt's VMs as a whole, may hold one more line; one's own may not."""
    subject, others = of(m.passed(qemu=[m.process(libvirt=True), m.process("attic", 701, usb=UNSET, libvirt=UNSET)]))
    assert others.unread(subject.items[0]) == ("qemu",)
    alone = m.process("hearth", uid=0, usb=[IDS], libvirt=False)
    subject, others = of(m.passed(domains=UNSET, qemu=[alone]))
    assert others.unread(subject.items[0]) == ("domains",)
    subject, others = of(m.passed(domains=[], qemu=[alone]))
    assert others.unread(subject.items[0]) == ()
