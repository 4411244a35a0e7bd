"""VMs whose configuration a person gave, put together with what is seen of them."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.item import Item
from radiocheck.chain.items import items
from radiocheck.evidence.record import Evidence, KernelLog
from radiocheck.evidence.vm import GivenVm, HostdevUsb, Monitor, MonitorUsb, PciArg, TtyArg, UsbHostArg

from . import machines as m

IDS = UsbHostArg(vid="1209", pid="7a01")
NUMBER = UsbHostArg(bus=1, address=4)
NODE = UsbHostArg(id="hostdev0", node="/dev/bus/usb/001/004")


def given(name: str | None = "hearth", manager: str = "qemu", **change: Any) -> GivenVm:
    """A VM that a person gave."""
    return GivenVm(name=name, manager=manager, origin="hearth.sh", **change)


def only(evidence: Evidence) -> Item:
    """The only line."""
    (item,) = items(evidence)
    return item


def gone(**change: Any) -> Evidence:
    """The stick had number 4 and has 5 now; the log remembers both."""
    events = [*m.arrival(), m.departure(), *m.arrival(number=5, at=m.NOW - 30)]
    return m.native(
        usb=[m.root_hub(), m.stick(devnum=5)],
        kernel_log=KernelLog(source="journal", events=events, from_boot=True),
        **change,
    )


# --- who it is


def test_a_vm_that_is_seen_with_the_same_line_has_it_once() -> None:
    """The process of that name tells of the running VM, and the text of the next start."""
    process = m.process(usb=[IDS])
    item = only(m.passed(domains=[], qemu=[process], given_vms=[given(arguments=[IDS], usb_bus=True)]))
    assert (item.vm, item.manager, item.kind, item.selector) == ("hearth", "qemu", "device", "ids")
    assert item.text == "usb-host vendorid=1209, productid=7a01 (in hearth.sh)"
    assert (item.running, item.in_live, item.in_next, item.process) == (True, True, True, process)


def test_another_vm_is_another_vm() -> None:
    """A process of another name has its own lines."""
    found = items(m.passed(domains=[], qemu=[m.process("attic", usb=[IDS])], given_vms=[given(arguments=[IDS])]))
    assert [(item.vm, item.running, item.in_live) for item in found] == [
        ("hearth", False, False),
        ("attic", True, True),
    ]


@pytest.mark.parametrize(
    ("qemu", "running"),
    [
        ([], False),
        ([m.process("attic")], False),
        ([m.process("attic"), m.process(None, pid=701)], False),  # type: ignore[arg-type]  # a name that is none
        ([m.process("attic"), m.process(UNSET, pid=701)], UNSET),  # type: ignore[arg-type]  # a name that is none
        (UNSET, UNSET),
    ],
)
def test_a_vm_whose_process_is_not_seen(qemu: Any, running: Any) -> None:
    """It is off only when all processes and their names were seen."""
    item = only(m.native(domains=[], qemu=qemu, given_vms=[given(arguments=[IDS])]))
    assert (item.running, item.in_live, item.in_next) == (running, running, True)


def test_a_vm_without_a_name() -> None:
    """It may be any VM: it is called by its file, runs for all we know, and no count of VMs is made with it."""
    fragment = given(None, "libvirt", hostdevs=[m.IDS])
    found = items(m.passed(given_vms=[fragment]))
    assert [(item.vm, item.named, item.running) for item in found] == [
        ("the VM of “hearth.sh”", False, UNSET),
        ("hearth", True, True),
    ]
    assert only(m.native(given_vms=[fragment])).running is False  # no QEMU runs at all


def test_a_nameless_process_that_was_told_the_same() -> None:
    """Neither has a name, and every device is the same: it is this one, and there is no second VM."""
    process = m.process(None, usb=[NUMBER])  # type: ignore[arg-type]  # a name that is none
    item = only(m.passed(domains=[], qemu=[process], given_vms=[given(None, arguments=[NUMBER])]))
    assert (item.vm, item.named, item.running, item.live_address) == ("QEMU process 700", True, True, 4)
    other = m.passed(domains=[], qemu=[process], given_vms=[given(None, arguments=[IDS])])
    assert [item.vm for item in items(other)] == ["the VM of “hearth.sh”", "QEMU process 700"]


# --- the next start and the running VM


def test_the_next_start_is_as_given() -> None:
    """A line that was changed in the text counts from the next start on; the running VM keeps its number."""
    evidence = m.passed(domains=[], qemu=[m.process(usb=[NUMBER])], given_vms=[given(arguments=[IDS])])
    item = only(evidence)
    assert (item.selector, item.in_next, item.in_live) == ("ids", True, True)
    assert (item.live_bus, item.live_address, item.pinned) == (1, 4, False)


def test_a_line_that_the_text_lost_is_in_the_running_vm_only() -> None:
    """What the process has and the text has not ends with the VM."""
    found = items(m.passed(domains=[], qemu=[m.process(usb=[IDS])], given_vms=[given(arguments=[])]))
    assert [(item.in_live, item.in_next) for item in found] == [(True, False)]


def test_a_line_that_the_running_vm_has_not() -> None:
    """What the text has and the process has not comes with the next start."""
    item = only(m.passed(domains=[], qemu=[m.process(usb=[])], given_vms=[given(arguments=[IDS])]))
    assert (item.in_live, item.in_next) == (False, True)
    item = only(m.passed(domains=[], qemu=[m.process(usb=UNSET)], given_vms=[given(arguments=[IDS])]))
    assert (item.in_live, item.in_next, item.running) == (UNSET, True, True)


@pytest.mark.parametrize("line", [m.IDS, HostdevUsb(bus=1, port="2")])
def test_numbers_that_libvirt_looked_up(line: HostdevUsb) -> None:
    """libvirt's process has a number where the XML has IDs or a port: who has the number tells which line it is."""
    process = m.process(usb=[NODE], libvirt=True)
    xml = given(manager="libvirt", hostdevs=[line])
    item = only(m.passed(domains=UNSET, qemu=[process], given_vms=[xml]))
    assert (item.in_live, item.in_next, item.live_bus, item.live_address) == (True, True, 1, 4)
    item = only(gone(domains=UNSET, qemu=[process], given_vms=[xml]))  # replugged: the log remembers who had the number
    assert (item.in_live, item.live_bus, item.live_address) == (True, 1, 4)


def test_numbers_that_nobody_remembers() -> None:
    """Without the log nobody knows what the old number was: whether the line is in the running VM stays open."""
    process = m.process(usb=[NODE], libvirt=True)
    evidence = gone(domains=UNSET, qemu=[process], given_vms=[given(manager="libvirt", hostdevs=[m.IDS])])
    item = only(structs.replace(evidence, kernel_log=UNSET))
    assert (item.in_live, item.in_next, item.running) == (UNSET, True, True)


def test_a_domain_of_libvirt_of_that_name() -> None:
    """Its running XML and its autostart are the VM's, its stored lines are replaced by what is given."""
    port = given(manager="libvirt", hostdevs=[HostdevUsb(bus=1, port="2")])
    item = only(m.passed(given_vms=[port]))
    assert (item.selector, item.in_next, item.in_live, item.autostart) == ("port", True, True, True)
    assert (item.live_bus, item.live_address, item.running) == (1, 4, True)
    off = m.native(domains=[m.domain(next=m.definition(m.IDS), autostart=False)], given_vms=[port])
    item = only(off)
    assert (item.selector, item.running, item.in_live, item.autostart) == ("port", False, False, False)


def test_a_command_line_that_libvirt_wrote() -> None:
    """It says nothing of the next start; where the domain or the process is seen, they tell it better."""
    written = given(manager="libvirt", arguments=[NODE])
    item = only(m.passed(given_vms=[written]))
    assert (item.selector, item.text) == ("ids", "hostdev 1209:7a01")
    item = only(m.passed(domains=UNSET, qemu=[m.process(usb=[NODE], libvirt=True)], given_vms=[written]))
    assert (item.text, item.in_next) == ("usb-host hostdevice=/dev/bus/usb/001/004", UNSET)
    item = only(m.native(domains=UNSET, qemu=UNSET, given_vms=[written]))
    assert (item.in_next, item.in_live, item.running) == (UNSET, UNSET, UNSET)


def test_controllers_and_serial_ports() -> None:
    """They are lines like the others, in the words of their manager."""
    pci, tty = PciArg(address="0000:00:14.0"), TtyArg(path="/dev/ttyACM0")
    evidence = m.passed(domains=[], qemu=[m.process(pci=[pci])], given_vms=[given(pci=[pci], ttys=[tty])])
    assert [(item.kind, item.text, item.in_live) for item in items(evidence)] == [
        ("controller", "vfio-pci 0000:00:14.0 (in hearth.sh)", True),
        ("forwarded", "character device /dev/ttyACM0 (in hearth.sh)", False),
    ]


def test_what_a_monitor_told_stays() -> None:
    """A QEMU that was asked tells of the running VM, with or without a command line that was given."""
    device = MonitorUsb(argument=IDS, attached=True)
    told = Monitor(socket="/run/q", name="hearth", uuid=None, status="running", usb=[device])
    evidence = m.passed(domains=[], qemu=[m.process(usb=[IDS])], monitors=[told], given_vms=[given(arguments=[IDS])])
    item = only(evidence)
    assert (item.attached, item.paused, item.in_live, item.in_next) == (True, False, True, True)


# --- Xen


def xen(**change: Any) -> GivenVm:
    """A domain of Xen."""
    return GivenVm(name="hearth", manager="xen", origin="/etc/xen/hearth.cfg", **change)


def test_xen_domains() -> None:
    """usbdev pins a number; a QEMU of the same name is not asked, since `xl` does not need one."""
    vm = xen(hostdevs=[HostdevUsb(bus=1, address=4)], autostart=True, usb_bus=True)
    found = items(m.passed(domains=[], qemu=[m.process()], given_vms=[vm]))
    item = found[0]
    assert (item.vm, item.manager, item.selector, item.pinned) == ("hearth", "xen", "address", True)
    assert item.text == "usbdev hostbus=1, hostaddr=4 (in /etc/xen/hearth.cfg)"
    assert (item.running, item.in_live, item.in_next, item.autostart) == (UNSET, UNSET, True, True)
    assert (item.process, item.live_address) == (None, UNSET)


def test_all_functions_of_a_slot_are_those_that_are_there() -> None:
    """`pci = ['00:14.*']` gives what the slot has."""
    vm = xen(pci=[PciArg(address=f"0000:00:14.{number}") for number in range(8)])
    there = ["0000:00:14.0", "0000:00:14.2", "0000:00:1f.0"]
    assert [item.controller for item in items(m.native(given_vms=[vm], pci_functions=there))] == there[:2]
    single = xen(pci=[PciArg(address="0000:00:15.0")])
    assert only(m.native(given_vms=[single], pci_functions=there)).controller == "0000:00:15.0"
