"""The facts about the VM's own side, and why they are absent."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.context import Context, context
from radiocheck.chain.facts_guest import gaps, guest_facts, there
from radiocheck.chain.pair import pair
from radiocheck.chain.subjects import subjects
from radiocheck.chain.view_guest import GuestFacts
from radiocheck.evidence.record import Evidence, Gap
from radiocheck.evidence.serial import Handles

from . import guests as g
from . import machines as m


def joined(host: Evidence, guest: Evidence | None = None) -> Context:
    """A host, with the capture of a VM beside it or not."""
    found = subjects(host)
    return context(host, found, pair=pair(host, found, guest) if guest is not None else None)


def facts(host: Evidence, guest: Evidence | None = None) -> GuestFacts:
    """The facts about the host's first adapter."""
    indexed = joined(host, guest)
    return guest_facts(indexed, indexed.subjects[0])


def test_without_a_capture_nothing_is_known() -> None:
    """All facts are absent, and one way shows them all."""
    assert facts(g.host()) == GuestFacts(unseen="only the VM can show it")
    indexed = joined(g.host())
    told = gaps(indexed, indexed.subjects[0])
    assert {gap.what for gap in told} == {"guest", "guest.host", "guest.usb", "guest.kernel_log"}
    assert len({gap.provide for gap in told}) == 1


def test_a_healthy_pair() -> None:
    """Every fact, but the state that the judgement of the VM's side gives."""
    assert facts(g.host(), g.hearth()) == GuestFacts(
        given=True,
        vm="the VM hearth",
        same_vm=True,
        served=True,
        apart_min=0,
        apart="10 seconds",
        same_run=True,
        together=True,
        controllers=1,
        matches=1,
        present=True,
        held=True,
        configured=True,
        refused=False,
        tty="ttyACM0",
        by_id=m.BY_ID,
        unseen="not everything could be seen in the VM hearth",
    )


@pytest.mark.parametrize(
    ("change", "held"),
    [
        ({}, True),
        ({"handles": Handles(open=[], unread=0)}, False),
        ({"handles": Handles(open=[], unread=3)}, UNSET),
        ({"handles": Handles(open=[m.hold(deleted=True)], unread=0)}, False),
        ({"handles": UNSET}, UNSET),
        ({"usb": [m.root_hub()]}, False),
    ],
)
def test_whether_the_vm_holds_it(change: dict[str, Any], held: object) -> None:
    """Its process has the current node open; one that is gone is held by nobody; what is hidden is not known."""
    assert facts(g.host(**change), g.hearth()).held is held


@pytest.mark.parametrize("err", ["-32", "-110"])
def test_a_refused_configuration_is_a_stall(err: str) -> None:
    """Error -32 is EPIPE, a stall: what QEMU answers when it cannot claim (error-codes.rst); others are not it."""
    guest = g.refused()
    event = structs.replace(guest.kernel_log.events[-1], data={"c": "1", "err": err})
    log = structs.replace(guest.kernel_log, events=[*guest.kernel_log.events[:-1], event])
    found = facts(g.host(), structs.replace(guest, kernel_log=log))
    assert (found.refused, found.configured) == (err == "-32", False)


def test_a_refusal_before_the_last_plug_in_is_over() -> None:
    """Only the log since the device's arrival counts."""
    guest = g.refused()
    again = m.arrival("1-1", 3, at=m.NOW - 100)
    log = structs.replace(
        guest.kernel_log, events=[*guest.kernel_log.events, m.departure("1-1", 2, m.NOW - 200), *again]
    )
    assert facts(g.host(), structs.replace(guest, kernel_log=log)).refused is False


def test_in_the_vm_the_facts_are_its_own() -> None:
    """The same facts, without a capture: this machine is the VM."""
    found = subjects(g.refused())
    indexed = context(g.refused(), found, inside=True)
    assert guest_facts(indexed, found[0]) == GuestFacts(
        given=False, tty=None, configured=False, refused=True, by_id=None
    )
    assert gaps(indexed, found[0]) == []


def test_gaps_of_the_vms_capture_are_told_as_the_vms() -> None:
    """Those that the facts are made of, with the place where to do it."""
    told = [
        Gap(what="host.uuid", why="denied", detail="Permission denied", provide="run as root"),
        Gap(what="services", why="no-tool", provide="install it"),
        Gap(what="usb", why="failed", detail="odd"),
    ]
    indexed = joined(g.host(), g.hearth(gaps=told))
    assert gaps(indexed, indexed.subjects[0]) == [
        Gap(what="guest.host.uuid", why="denied", detail="Permission denied", provide="run as root (in the VM)"),
        Gap(what="guest.usb", why="failed", detail="odd"),
    ]
    assert there("") == ""


@pytest.mark.parametrize(
    ("guest", "vm", "same_vm"),
    [
        (g.hearth(), "the VM hearth", True),
        (g.hearth(host=g.host_of(g.ATTIC)), "the VM attic", False),
        (g.hearth(host=g.host_of("00000001-0000-0000-0000-000000000000")), "a VM that this host does not have", False),
        (g.hearth(host=g.host_of(UNSET)), "the VM hearth", UNSET),
    ],
)
def test_which_vm(guest: Evidence, vm: str, same_vm: object) -> None:
    """By UUID; without one the only VM that has a line for the adapter is meant, which proves nothing."""
    found = facts(g.host(), guest)
    assert (found.vm, found.same_vm) == (vm, same_vm)


def test_a_line_that_could_not_be_seen_may_be_the_vms() -> None:
    """When not every configuration could be read, the captured VM may have one for this adapter."""
    host = structs.replace(g.host(), domains=UNSET, qemu=[m.process("attic", 701, uuid=g.ATTIC)], handles=UNSET)
    found = facts(host, g.hearth(host=g.host_of(g.ATTIC)))
    assert (found.same_vm, found.served) == (UNSET, UNSET)
