"""Verdicts about VMs whose configuration a person gave."""

from __future__ import annotations

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import Report
from radiocheck.evidence.record import Evidence, Gap
from radiocheck.evidence.serial import Handles
from radiocheck.evidence.vm import HostdevUsb, PciArg, UsbHostArg

from . import machines as m
from .test_items_given import IDS, NODE, NUMBER, given, gone, xen
from .test_losing_sources import SOURCES, answers

RULES = load([shipped()])


def found(report: Report) -> list[str]:
    """The rules that were found."""
    findings = [one for chain in report.chains for step in chain.steps for one in step.findings]
    return [one.rule for one in findings if one.result == "found"]


HEALTHY = {
    "a command line that was given, and its process": m.passed(
        domains=[],
        qemu=[m.process(uid=0, usb=[UsbHostArg(bus=1, port="2")])],
        given_vms=[given(arguments=[UsbHostArg(bus=1, port="2")], usb_bus=True)],
    ),
    "XML that was given, and the process that libvirt started": m.passed(
        domains=[],
        qemu=[m.process(usb=[NODE], libvirt=True)],
        given_vms=[given(manager="libvirt", hostdevs=[m.IDS], usb_bus=True)],
    ),
    "XML that libvirt has as well": m.passed(given_vms=[given(manager="libvirt", hostdevs=[m.IDS], usb_bus=True)]),
}


@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_machines(name: str) -> None:
    """A healthy machine stays sound when its VM's configuration is given."""
    report = judge(HEALTHY[name], RULES)
    assert found(report) == []
    assert report.verdict.state == "sound", report.verdict


def test_a_fragment_is_no_second_vm() -> None:
    """A <hostdev> without a name beside a healthy VM makes nothing worse: it may be that VM's."""
    report = judge(m.passed(given_vms=[given(None, "libvirt", hostdevs=[m.IDS])]), RULES)
    assert found(report) == []


@pytest.mark.parametrize(("number", "rule"), [(4, "address-pinned"), (9, "address-stale")])
def test_xen_numbers_are_judged(number: int, rule: str) -> None:
    """A number that the next replug changes, and one that is gone, are named with a remedy."""
    report = judge(m.native(given_vms=[xen(hostdevs=[HostdevUsb(bus=1, address=number)], usb_bus=True)]), RULES)
    assert found(report) == [rule]
    (remedies,) = [one.remedies for step in report.chains[0].steps for one in step.findings if one.result == "found"]
    assert remedies


def test_xen_files_that_are_closed_leave_the_route_open() -> None:
    """Where Xen's files cannot be read, nobody knows that the adapter is the host's own."""
    gap = Gap(what="given_vms", why="denied", provide="run as root")
    report = judge(m.native(handles=Handles(open=[], unread=0), gaps=[gap]), RULES)
    assert report.chains[0].route == "unknown"


XML = given(manager="libvirt", hostdevs=[m.IDS], usb_bus=True)
BY_PORT = given(manager="libvirt", hostdevs=[HostdevUsb(bus=1, port="2")], usb_bus=True)
BY_IDS = given(arguments=[IDS], usb_bus=True)
FAULTS: dict[str, tuple[Evidence, list[str]]] = {
    "the VM is off": (m.native(domains=[], qemu=[m.process("attic")], given_vms=[BY_IDS]), ["vm-off"]),
    "replugged under a VM of libvirt's": (
        gone(domains=[], qemu=[m.process(usb=[NODE], libvirt=True)], given_vms=[XML]),
        ["lost-by-replug", "not-held-by-vm"],
    ),
    "replugged under a VM by number, whose text was changed since": (
        gone(domains=[], qemu=[m.process(usb=[NUMBER])], given_vms=[BY_IDS]),
        ["not-held-by-vm"],
    ),
    "the text was changed, and the VM not started anew": (
        m.native(domains=[], qemu=[m.process(usb=[])], given_vms=[BY_IDS]),
        ["not-in-running-vm"],
    ),
    "the line was taken out of the text": (
        m.passed(domains=[], qemu=[m.process(usb=[IDS])], given_vms=[given(usb_bus=True)]),
        ["live-only"],
    ),
    "a domain that is off, given anew": (
        m.native(domains=[m.domain(next=m.definition(m.IDS), autostart=False)], given_vms=[BY_PORT]),
        ["autostart-off", "vm-off"],
    ),
    "no name": (m.passed(given_vms=[given(None, "libvirt", hostdevs=[m.IDS])]), []),
    "a controller of Xen's": (m.native(given_vms=[xen(pci=[PciArg(address="0000:00:14.0")])]), []),
    "a number of Xen's": (m.native(given_vms=[xen(hostdevs=[HostdevUsb(bus=1, address=4)])]), ["address-pinned"]),
    "what libvirt looked up": (
        m.native(domains=[], qemu=[], given_vms=[given(manager="libvirt", arguments=[NODE])]),
        [],
    ),
}
MACHINES = {**HEALTHY, **{name: fault[0] for name, fault in FAULTS.items()}}


@pytest.mark.parametrize("name", FAULTS)
def test_faults(name: str) -> None:
    """What is given is judged with what is seen: each fault by its rule, and with something to do."""
    evidence, rules = FAULTS[name]
    report = judge(evidence, RULES)
    assert sorted(found(report)) == rules
    findings = [one for chain in report.chains for step in chain.steps for one in step.findings]
    assert all(one.remedies for one in findings if one.result == "found")


@pytest.mark.parametrize("source", [*SOURCES, "usb"])
@pytest.mark.parametrize("name", MACHINES)
def test_no_source_flips_a_rule(name: str, source: str) -> None:
    """Without one source, every rule says the same as before, or that it does not know."""
    before, after = answers(MACHINES[name]), answers(structs.replace(MACHINES[name], **{source: UNSET}))
    flipped = {key for key in before.keys() & after.keys() if after[key] not in (before[key], "unknown")}
    assert flipped == set()
