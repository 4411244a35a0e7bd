"""What the next restart does, for every selector, against written-down outcomes; and what lost evidence makes of it."""

from __future__ import annotations

import typing
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import UNSET, Struct, UnsetType, structs

from radiocheck.chain.context import context
from radiocheck.chain.forecast import forecasts
from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.subjects import subjects
from radiocheck.chain.verdict import Forecast
from radiocheck.evidence.record import Evidence, Gap
from radiocheck.evidence.vm import GivenVm, HostdevUsb, UsbHostArg

from . import machines as m
from .restarts import IDS, RESTARTS, by_libvirt, by_qemu
from .test_judge import FAULTS, HEALTHY

MACHINES = {
    **{name: evidence for name, (evidence, _, _) in RESTARTS.items()},
    **HEALTHY,
    **{name: fault[0] for name, fault in FAULTS.items()},
}
SOURCES = ["usb", "domains", "qemu", "controllers", "links", "ttys", "usb_nodes", "kernel_log", "host", "handles"]
Answers = dict[tuple[str, str], set[str | None]]


def told(evidence: Evidence) -> list[tuple[str, Forecast]]:
    """Every forecast, with the label of the adapter."""
    found = subjects(evidence)
    indexed = context(evidence, found)
    return [(subject.label, one) for subject in found for one in forecasts(indexed, subject)]


def hearth(evidence: Evidence) -> Forecast:
    """The forecast of the VM `hearth` for the adapter of the demo."""
    mine = [one for label, one in told(evidence) if one.vm == "hearth" and "D4E5F6" not in label]
    assert mine, "hearth has no line"
    return mine[0]


@pytest.mark.parametrize("name", RESTARTS)
def test_outcomes(name: str) -> None:
    """Selector, devices, other VMs and autostart decide, as the sources beside the table say."""
    evidence, vm, host = RESTARTS[name]
    one = hearth(evidence)
    assert (one.at_vm_restart, one.at_host_restart) == (vm, host), one
    assert all(
        why for why, outcome in ((one.at_vm_restart_why, vm), (one.at_host_restart_why, host)) if outcome is not None
    )


def answers(evidence: Evidence) -> tuple[Answers, Answers]:
    """Outcomes at both restarts, by VM and line, over all chains."""
    vm: Answers = {}
    host: Answers = {}
    for label, one in told(evidence):
        vm.setdefault((one.vm, label), set()).add(one.at_vm_restart)
        host.setdefault((one.vm, label), set()).add(one.at_host_restart)
    return vm, host


def flips(whole: Evidence, less: Evidence) -> list[Any]:
    """Outcomes that less evidence gives and the whole did not.

    An adapter may be called otherwise when its strings are lost; then any outcome of the VM counts.  A line
    without a selector may be told of another adapter than before, or of one at all: there was no outcome to turn.
    """
    found = []
    for before, after in zip(answers(whole), answers(less), strict=True):
        for (vm, label), outcomes in after.items():
            known = before.get((vm, label)) or {one for key, ones in before.items() if key[0] == vm for one in ones}
            found += [(vm, label, one, known) for one in outcomes - {None} - known if known]
    return found


@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize("name", MACHINES)
def test_losing_a_source_leaves_open(name: str, source: str) -> None:
    """Without a source of evidence every outcome is the same or not known."""
    assert flips(MACHINES[name], structs.replace(MACHINES[name], **{source: UNSET})) == []


# Which VM and adapter it is makes the outcome's key, not the outcome.  A fragment of XML that a
# person gives has no USB controller, and libvirt adds one: there a lost field cannot be told from none.
KEPT = {"name", "usb_bus"}
FIELDS = ("usb", "domains", "qemu", "controllers", "links", "ttys", "usb_nodes")
Path = tuple[str | int, ...]


def losable(value: Any, path: Path = ()) -> list[Path]:
    """The paths of all fields that hold something and may be absent."""
    found: list[Path] = []
    if isinstance(value, list):
        for index, inner in enumerate(value):
            found += losable(inner, (*path, index))
    elif isinstance(value, Struct):
        hints = typing.get_type_hints(type(value))
        for name in value.__struct_fields__:
            inner = getattr(value, name)
            if name in KEPT or inner is UNSET:
                continue
            if UnsetType in typing.get_args(hints[name]):
                found.append((*path, name))
            found += losable(inner, (*path, name))
    return found


def without(value: Any, path: Path) -> Any:
    """A copy in which the field at that path was not seen."""
    if not path or value is UNSET:
        return UNSET
    step, rest = path[0], path[1:]
    if isinstance(step, int):
        return [without(inner, rest) if index == step else inner for index, inner in enumerate(value)]
    return structs.replace(value, **{step: without(getattr(value, step), rest)})


@settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(sorted(MACHINES)), st.lists(st.integers(0, 10_000), min_size=1, max_size=4))
def test_losing_fields_leaves_open(name: str, chosen: list[int]) -> None:
    """Whatever fields were not seen, no outcome turns into another."""
    whole = less = MACHINES[name]
    paths = [path for path in losable(whole) if path[0] in FIELDS]
    lost = [paths[number % len(paths)] for number in chosen]
    for path in lost:
        less = without(less, path)
    assert flips(whole, less) == [], lost


def test_unknown_says_what_would_tell() -> None:
    """An outcome that is not known names the evidence and what a person can do."""
    evidence = structs.replace(
        m.passed(), domains=UNSET, gaps=[Gap(what="domains", why="denied", provide="run as root")]
    )
    evidence = structs.replace(evidence, qemu=[m.process(libvirt=True, usb=[UsbHostArg(node="/dev/bus/usb/001/004")])])
    one = hearth(evidence)
    assert (one.at_vm_restart, one.at_host_restart) == (None, None)
    assert [(lack.what, lack.provide) for lack in one.missing] == [("domains", "run as root")]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("libvirt, IDs, flapping", "enumerated 3 times in the last hour, and the running VM loses it each time"),
        ("libvirt, added while it runs", "hearth runs with another configuration until then"),
        ("libvirt, number, replugged", "(the adapter is bus 1 device 7)"),
        ("QEMU, hostaddr, replugged", "failed to find host usb device 1:4"),
        ("QEMU, hostdevice, replugged", "failed to open /dev/bus/usb/001/004"),
        ("libvirt, the other one has it", "attic has it"),
    ],
)
def test_reasons_of_a_vm_restart(name: str, words: str) -> None:
    """The reason holds the values that decide."""
    assert words in hearth(RESTARTS[name][0]).at_vm_restart_why


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("libvirt, number", "(at this boot the adapter got bus 1 device 4)"),
        ("libvirt, optional, late this time", "if it is there before hearth starts, and this time it came 10 s later"),
        ("libvirt, two that start with the host", "libvirt keeps no order"),
        ("QEMU, IDs, alone", "who starts hearth with the host does not show here"),
        ("libvirt, transient", "libvirt keeps no configuration of hearth"),
    ],
)
def test_reasons_of_a_host_restart(name: str, words: str) -> None:
    """The reason holds what this boot showed and what the restart depends on."""
    assert words in hearth(RESTARTS[name][0]).at_host_restart_why


def test_bus_numbers() -> None:
    """With one USB controller a bus keeps its number; with two the reason says that it may not."""
    line = HostdevUsb(bus=1, port="2")
    alone = hearth(by_libvirt(line))
    assert "keeps its number" not in alone.at_host_restart_why
    controllers = by_libvirt(line).controllers
    assert isinstance(controllers, list)
    second = structs.replace(controllers[0], address="0000:02:00.0")
    both = hearth(by_libvirt(line, controllers=[*controllers, second]))
    assert both.at_host_restart == "comes-back"
    assert "as long as the bus keeps its number" in both.at_host_restart_why


def test_attached_anew_by_hand() -> None:
    """A line of the running VM is not told beside the configuration's own, which the next start uses."""
    evidence = m.passed(
        usb=m.given_away(m.stick(devnum=7, interfaces=[m.interface(driver="usbfs", ttys=())])),
        domains=[m.domain(live=m.definition(HostdevUsb(bus=1, address=7)), next=m.definition(m.IDS))],
    )
    assert [(one.text, one.at_vm_restart) for _, one in told(evidence)] == [("hostdev 1209:7a01", "comes-back")]


def test_given_configurations() -> None:
    """A configuration that was given as a file is forecast too; who starts its VM does not show."""
    given_vm = GivenVm(name="hearth", manager="qemu", origin="hearth.args", arguments=[IDS], usb_bus=True)
    one = hearth(m.native(given_vms=[given_vm]))
    assert (one.at_vm_restart, one.at_host_restart) == ("comes-back", "comes-back")
    assert "who starts hearth with the host does not show here" in one.at_host_restart_why


def test_xen_goes_by_number() -> None:
    """Xen's line names bus and address: it lasts until the next enumeration (xl.cfg; from memory)."""
    line = HostdevUsb(bus=1, address=4)
    given_vm = GivenVm(name="hearth", manager="xen", origin="hearth.cfg", hostdevs=[line], usb_bus=True)
    one = hearth(m.native(given_vms=[given_vm]))
    assert (one.at_vm_restart, one.at_host_restart) == ("comes-back", "by-chance")


def test_a_report_has_it() -> None:
    """Chains with a line have a forecast, native ones have none."""
    rules = load([shipped()])
    assert [len(chain.forecast) for chain in judge(by_qemu(IDS), rules).chains] == [1]
    assert [chain.forecast for chain in judge(m.native(), rules).chains] == [[]]
