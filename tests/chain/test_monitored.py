"""What QEMU tells on its monitor stands in the place of what its command line says."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.items import items
from radiocheck.chain.judge import judge
from radiocheck.chain.monitored import LATE, belonging
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import Chain
from radiocheck.evidence.record import Evidence, KernelLog
from radiocheck.evidence.serial import Handles
from radiocheck.evidence.vm import Monitor, MonitorUsb, PciArg, UsbHostArg

from . import machines as m
from .test_judge import own
from .test_losing_sources import SOURCES, answers

RULES = load([shipped()])
IDS = UsbHostArg(id="radio", vid="1209", pid="7a01")
NUMBER = UsbHostArg(id="late", bus=1, address=4)
NODE = UsbHostArg(id="hostdev0", node="/dev/bus/usb/001/004")  # what libvirt makes of its <hostdev>
UUID = "8c3c1d2e-1111-2222-3333-444455556666"


def usb(argument: UsbHostArg = IDS, attached: bool = True, late: bool = False) -> MonitorUsb:
    """A device as QEMU tells of it."""
    return MonitorUsb(argument=argument, attached=attached, hot_plugged=late, product=None)


def monitor(*devices: MonitorUsb, **change: Any) -> Monitor:
    """The answers of `hearth`'s QEMU."""
    base = Monitor(
        socket="/run/hearth.sock",
        pid=700,
        name="hearth",
        uuid=None,
        status="running",
        version="7.2.22",
        usb=list(devices),
    )
    return structs.replace(base, **change)


def plain(*told: MonitorUsb, usb: list[UsbHostArg] | None = None, base: Any = m.passed, **change: Any) -> Evidence:
    """Plain QEMU, started with `usb`, that tells of other devices."""
    process = m.process(uid=0, usb=[IDS] if usb is None else usb)
    whole: Evidence = base(domains=[], qemu=[process], monitors=[monitor(*told)])
    return structs.replace(whole, **change)


def idle(*told: MonitorUsb, **change: Any) -> Evidence:
    """The same, while the host's driver has the adapter."""
    return plain(*told, base=m.native, **change)


def lines(evidence: Evidence) -> list[tuple[str, object, object, object]]:
    """Text, in the running VM, in the next start, attached."""
    return [(one.text, one.in_live, one.in_next, one.attached) for one in items(evidence)]


def chain(evidence: Evidence) -> Chain:
    """The only chain."""
    (found,) = judge(evidence, RULES).chains
    return found


TEXT = "usb-host vendorid=1209, productid=7a01"
REPLUGGED = KernelLog(
    source="journal",
    events=[
        *m.arrival(number=3),
        m.departure(number=3, at=m.NOW - 500),
        *m.arrival(number=4, at=m.NOW - 400),
    ],
    from_boot=True,
)
QUEUE: dict[str, tuple[Evidence, list[tuple[str, str]]]] = {
    "told as started": (plain(usb()), []),
    "plugged in while it ran": (plain(usb(late=True), usb=[]), [("assignment", "live-only")]),
    "plugged in by its number": (plain(usb(NUMBER, late=True), usb=[]), [("assignment", "live-only")]),
    "taken out and put in again by its number; the next start goes by the IDs": (plain(usb(NUMBER, late=True)), []),
    "taken out": (idle(), [("assignment", "not-in-running-vm")]),
    "never attached": (idle(usb(attached=False)), [("handover", "retry-limit-used-up")]),
    "attached, says QEMU, but the host has it": (idle(usb()), [("handover", "replug-not-noticed")]),
    "plugged in by its number of then, and replugged": (
        idle(usb(structs.replace(NUMBER, address=3), attached=False, late=True), usb=[], kernel_log=REPLUGGED),
        [("handover", "dead-handle")],
    ),
    "paused, so QEMU does not look": (
        idle(monitors=[monitor(usb(attached=False), status="paused")]),
        [("handover", "not-held-by-vm")],
    ),
    "libvirt, told on a second monitor": (m.passed(monitors=[monitor(usb(NODE))]), []),
}


@pytest.mark.parametrize("name", QUEUE)
def test_what_is_found(name: str) -> None:
    """One headline per machine, and none on healthy ones; what only lasts until the next start comes beside it."""
    evidence, expected = QUEUE[name]
    found = [one for one in own(chain(evidence)) if one != ("assignment", "live-only") or one in expected]
    assert found == expected


@pytest.mark.parametrize("source", [*SOURCES, "the monitor's process"])
@pytest.mark.parametrize("name", QUEUE)
def test_no_source_flips_a_rule(name: str, source: str) -> None:
    """Beside a monitor too, every rule says without one source the same as before, or that it does not know.

    The monitor itself is no such source: who does not ask gets the command line's word.
    """
    whole, _ = QUEUE[name]
    if source in SOURCES:
        less = structs.replace(whole, **{source: UNSET})
    else:
        less = structs.replace(whole, monitors=[structs.replace(one, pid=UNSET) for one in whole.monitors or []])
    before, after = answers(whole), answers(less)
    both = {key: (before[key], after[key]) for key in before.keys() & after.keys()}
    assert {key: pair for key, pair in both.items() if pair[1] not in (pair[0], "unknown")} == {}


# --- the lines


def test_the_command_line_is_told_again() -> None:
    """A device that was there at the start keeps its line, and gets QEMU's word about it."""
    assert lines(plain(usb())) == [(TEXT, True, True, True)]


def test_a_line_more_and_a_line_less() -> None:
    """Added devices are in the running VM only; removed ones come back with the next start."""
    other = UsbHostArg(id="other", vid="0403", pid="6001")
    assert lines(plain(usb(late=True), usb=[other])) == [
        (TEXT + LATE, True, False, True),
        ("usb-host vendorid=0403, productid=6001", False, True, False),
    ]


def test_removed_and_added_alike() -> None:
    """What was put in again as the command line has it is there at the next start too."""
    assert lines(plain(usb(late=True))) == [(TEXT, True, True, True)]


def test_two_lines_alike() -> None:
    """Of two equal lines one may have been taken out."""
    twice = UsbHostArg(vid="1209", pid="7a01")
    assert lines(plain(usb(twice), usb=[twice, twice])) == [(TEXT, True, True, True), (TEXT, False, True, False)]


def test_other_lines_stay() -> None:
    """Whole controllers are not asked for, and stay as the command line has them."""
    process = m.process(usb=[], pci=[PciArg(address="0000:00:14.0")])
    found = items(m.native(qemu=[process], monitors=[monitor()]))
    assert [(one.kind, one.in_live, one.in_next) for one in found] == [("controller", True, True)]


def test_a_hidden_command_line() -> None:
    """Without it the next start is known only for what QEMU had from its start."""
    evidence = plain(usb(), usb(NUMBER, late=True))
    hidden = structs.replace(evidence, qemu=[m.process(usb=UNSET)])
    assert lines(hidden) == [
        (TEXT, True, True, True),
        ("usb-host hostbus=1, hostaddr=4" + LATE, True, UNSET, True),
    ]


def test_libvirts_process_without_its_domain() -> None:
    """libvirt's command line does not tell the next start, whatever QEMU says."""
    evidence = plain(usb(NODE), usb(NUMBER, late=True))
    process = m.process(usb=[NODE, UsbHostArg(id="hostdev1")], libvirt=True)
    found = items(structs.replace(evidence, qemu=[process], domains=UNSET))
    assert [(one.manager, one.in_live, one.in_next) for one in found] == [
        ("libvirt", True, UNSET),
        ("libvirt", True, UNSET),
        ("libvirt", False, UNSET),
    ]


def test_a_vm_whose_process_was_not_seen() -> None:
    """The monitor alone makes the VM's lines."""
    evidence = plain(usb(), usb(NUMBER, late=True), qemu=UNSET)
    assert [(one.vm, one.in_live, one.in_next) for one in items(evidence)] == [
        ("hearth", True, True),
        ("hearth", True, UNSET),
    ]
    nameless = structs.replace(evidence, monitors=[monitor(usb(), name=None)])
    assert [one.vm for one in items(nameless)] == ["QEMU at /run/hearth.sock"]


def test_a_libvirt_domain() -> None:
    """libvirt's line gets QEMU's word; a device that libvirt does not know was put in behind its back."""
    evidence = m.passed(monitors=[monitor(usb(NODE), usb(UsbHostArg(vid="0403"), late=True))])
    assert [(one.in_live, one.in_next, one.attached) for one in items(evidence)] == [
        (True, True, True),
        (True, False, True),
    ]
    off = m.passed(domains=[m.domain(next=m.definition(m.IDS))], qemu=[], monitors=[monitor(usb(NODE), pid=UNSET)])
    assert [(one.in_live, one.attached) for one in items(off)] == [(False, UNSET)]


def test_a_missing_device_of_libvirt() -> None:
    """An optional device that was not there at the start is a device without a selector to QEMU."""
    gone = m.domain(live=m.definition(m.bound(missing=True)), next=m.definition(m.IDS))
    evidence = m.passed(domains=[gone], monitors=[monitor(usb(UsbHostArg(id="hostdev0"), attached=False))])
    assert [(one.missing, one.attached) for one in items(evidence)] == [(True, False)]


# --- whose monitor it is


@pytest.mark.parametrize(
    ("told", "processes", "pids"),
    [
        (monitor(), [m.process()], [700]),
        (monitor(name="other"), [m.process(), m.process("attic", 701)], [700]),  # the kernel's word comes first
        (monitor(pid=1, uuid=UUID, name="x"), [m.process(uuid=UUID), m.process("attic", 701)], [700]),
        (monitor(pid=1), [m.process(), m.process("attic", 701)], [700]),
        (monitor(pid=1, name="attic"), [m.process(), m.process("attic", 701)], [701]),
        (monitor(pid=1, name=None), [m.process(name=None, uuid=None)], [700]),
        (monitor(pid=1, name=None), [m.process(uuid=None)], []),  # that one has a name
        (monitor(pid=1, name=None), [m.process(name=None, uuid=None), m.process("attic", 701)], []),
        (monitor(pid=1), [m.process(), m.process(pid=701)], []),  # two of the same name
        (monitor(usb=UNSET), [m.process()], []),  # it did not answer
    ],
)
def test_by_process(told: Monitor, processes: list[Any], pids: list[int]) -> None:
    """By who listens, by UUID, by name; a nameless one is that of the only process, when that is nameless too."""
    assert list(belonging([told], processes, []).by_pid) == pids


def test_nobodys_monitor_is_told_of_none() -> None:
    """A nameless monitor beside several processes could be any one's."""
    found = belonging([monitor(pid=1, name=None)], [m.process(), m.process("attic", 701)], [])
    assert (found.by_pid, found.by_domain, found.unseen) == ({}, {}, [])


def test_two_monitors_of_one_vm() -> None:
    """They tell the same; the first one counts."""
    evidence = plain(usb())
    twice = structs.replace(evidence, monitors=[*evidence.monitors, structs.replace(monitor(usb()), socket="/run/2")])
    assert lines(twice) == lines(evidence)


# --- what it makes surer


def test_nothing_attached_is_nothing_held() -> None:
    """Without a look into the process, QEMU's own word tells that it has the adapter not open."""
    driverless = [m.root_hub(), m.stick(interfaces=[m.interface(driver=None, ttys=())])]
    hidden = {"usb": driverless, "ttys": [], "links": [], "handles": Handles(open=[], unread=9)}
    blind = structs.replace(idle(usb(attached=False)), monitors=UNSET, **hidden)
    told = structs.replace(idle(usb(attached=False)), **hidden)
    other = structs.replace(idle(usb(attached=False), usb(NUMBER, attached=True, late=True)), **hidden)
    found = {
        name: answers(one)["Lindenhof Mesh stick A1B2C3", "not-held-by-vm"]
        for name, one in (("blind", blind), ("told", told), ("other", other))
    }
    assert found == {"blind": "unknown", "told": "found", "other": "unknown"}
