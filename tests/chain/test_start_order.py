"""What was there first at this boot, the VM or the adapter; and the rules that go by it."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.context import context
from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.start_order import arrivals, start_order
from radiocheck.chain.subjects import subjects
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.vm import HostdevUsb, UsbHostArg, VmMessage

from . import machines as m
from .restarts import log

RULES = load([shipped()])
BOOTED = m.NOW - 10_000  # as in machines.native
STARTED = m.NOW - 9_960
OPTIONAL = HostdevUsb(vid="1209", pid="7a01", startup="optional")
MISSING = HostdevUsb(vid="1209", pid="7a01", startup="optional", missing=True)


def late(seconds: float, **change: Any) -> Evidence:
    """`hearth` was started 40 s after the boot, the stick came so many seconds later and stayed."""
    at = STARTED + seconds
    device = m.stick(connected_ms=int((m.NOW - at) * 1000))
    whole = {
        "usb": [m.root_hub(), device],
        "kernel_log": log(*m.arrival(at=at)),
        "qemu": [m.process(started=STARTED, own_nodes=[])],
        "domains": [m.domain(live=m.definition(MISSING), next=m.definition(OPTIONAL))],
    }
    return m.native(**{**whole, **change})


def given_back(evidence: Evidence) -> Evidence:
    """The same, and somebody attached it to the running VM since."""
    assert isinstance(evidence.usb, list)
    held = structs.replace(evidence.usb[1], interfaces=[m.interface(driver="usbfs", ttys=())])
    domains = [m.domain(live=m.definition(m.bound(startup="optional")), next=m.definition(OPTIONAL))]
    held_by = structs.replace(m.passed(), usb=[m.root_hub(), held], domains=domains, kernel_log=evidence.kernel_log)
    return structs.replace(held_by, qemu=[m.process(started=STARTED)])


def refused(seconds: float) -> Evidence:
    """libvirt refused `hearth` at boot since the stick was not there yet; it came so many seconds later."""
    said = "internal error: Failed to autostart VM 'hearth': internal error: Did not find USB device 1209:7a01"
    message = VmMessage(
        vm=None, kind="libvirt-not-found", at=STARTED, data={"vid": "1209", "pid": "7a01"}, text=f"error : {said}"
    )
    return late(seconds, qemu=[], domains=[m.domain(next=m.definition(m.IDS))], vm_messages=[message])


def facts(evidence: Evidence) -> dict[str, Any]:
    """The facts of the first line of the first adapter."""
    found = subjects(evidence)
    indexed = context(evidence, found)
    return start_order(indexed, found[0], found[0].items[0])


def rules_of(evidence: Evidence) -> dict[str, str | None]:
    """Rules found, each with the one that it follows from."""
    return {
        one.rule: one.explained_by
        for chain in judge(evidence, RULES).chains
        for step in chain.steps
        for one in step.findings
        if one.result == "found"
    }


def test_the_vm_was_first() -> None:
    """Both by the log: the VM 40 s after the boot, the adapter 12 s after the VM."""
    assert facts(late(12.0)) == {
        "started_after_boot_s": 40,
        "before_adapter": True,
        "adapter_late_s": 12,
        "late_by_s": None,
    }


@pytest.mark.parametrize("seconds", [-20.0, 1.0])
def test_the_adapter_was_first(seconds: float) -> None:
    """Earlier, or within what both clocks round away."""
    assert facts(late(seconds))["before_adapter"] is False


def test_a_replug_does_not_make_it_late() -> None:
    """An adapter that was there at the start and came anew since was lost, not late."""
    replugged = [*m.arrival(number=2, at=BOOTED + 5), m.departure(number=2, at=STARTED + 100)]
    evidence = late(200.0, kernel_log=log(*replugged, *m.arrival(at=STARTED + 200)))
    assert facts(evidence)["before_adapter"] is False


@pytest.mark.parametrize("change", [{"kernel_log": UNSET}, {"kernel_log": structs.replace(log(), from_boot=False)}])
def test_without_the_whole_log_it_is_open(change: dict[str, Any]) -> None:
    """What the log does not reach back to is not guessed, unless the adapter has been there without a break."""
    assert "before_adapter" not in facts(late(12.0, **change))
    assert facts(late(-20.0, **change))["before_adapter"] is False


def test_an_earlier_boot_does_not_count() -> None:
    """Pasted logs may hold more than one boot."""
    evidence = late(12.0, kernel_log=log(*m.arrival(at=BOOTED - 500), *m.arrival(at=STARTED + 12)))
    assert facts(evidence)["before_adapter"] is True


def test_arrivals_are_of_one_adapter() -> None:
    """A twin with another serial number in another socket is another adapter."""
    evidence = late(12.0, kernel_log=log(*m.arrival("1-3", 9, BOOTED, "D4E5F6"), *m.arrival(at=STARTED + 12)))
    found = subjects(evidence)
    stays = arrivals(context(evidence, found), m.stick())
    assert isinstance(stays, list)
    assert [stay.number for stay in stays] == [4]


def test_a_failed_autostart() -> None:
    """libvirt's own words tell by how much the adapter missed the VM's start (qemu_driver.c, qemuAutostartDomain)."""
    assert facts(refused(12.0))["late_by_s"] == 12
    assert facts(refused(-12.0))["late_by_s"] is None
    assert rules_of(refused(12.0)) == {"autostart-before-adapter": None, "vm-off": "autostart-before-adapter"}


def test_the_forecast_knows_of_it() -> None:
    """What was late at this boot is the condition of the next one."""
    for evidence in (late(12.0), refused(12.0), given_back(late(12.0))):
        one = judge(evidence, RULES).chains[0].forecast[0]
        assert one.at_host_restart == "comes-back"
        assert one.at_host_restart_why.startswith(
            "if it is there before hearth starts, and this time it came 12 s later"
        )


def test_missing_at_start_speaks_first() -> None:
    """With libvirt's own mark the older rule says it; without the XML, the order at the boot and the dummy do."""
    seen = rules_of(late(12.0))
    assert seen["missing-at-start"] is None
    assert "started-before-adapter" not in seen
    dummy = [m.process(started=STARTED, usb=[UsbHostArg(id="hostdev0")], libvirt=True)]
    blind = rules_of(late(12.0, qemu=dummy, domains=UNSET))
    assert blind["started-before-adapter"] is None
    assert "missing-at-start" not in blind
    assert "started-before-adapter" not in rules_of(late(-20.0, qemu=dummy, domains=UNSET))


def test_made_good_by_hand() -> None:
    """A VM that has it now, and had to be given it, will miss it again; one that found it at its start will not."""
    assert rules_of(given_back(late(12.0))) == {"adapter-late-at-boot": None}
    assert rules_of(given_back(late(-20.0))) == {}
    assert rules_of(given_back(late(4000.0))) == {}
