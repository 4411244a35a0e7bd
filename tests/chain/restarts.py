"""Machines for which the next restart is written down: one line per way in which a VM can get the stick back or not."""

from __future__ import annotations

from typing import Any

from msgspec import structs

from radiocheck.evidence.record import Event, Evidence, KernelLog
from radiocheck.evidence.serial import Handles, Link
from radiocheck.evidence.usb import Controller, GroupMember
from radiocheck.evidence.vm import Definition, HostdevUsb, PciArg, TtyArg, UsbHostArg

from . import machines as m

PCI = "0000:00:14.0"
IDS = UsbHostArg(vid="1209", pid="7a01")
BY_ADDRESS = HostdevUsb(bus=1, address=4)


def log(*events: Event) -> KernelLog:
    """A log from the boot on."""
    return KernelLog(source="journal", events=list(events), since=m.NOW - 10_000, from_boot=True)


def by_libvirt(line: HostdevUsb, **change: Any) -> Evidence:
    """`hearth` runs with the stick and starts with the host; its configuration has this line."""
    live = HostdevUsb(vid=line.vid, pid=line.pid, bus=1, address=4, port=line.port, startup=line.startup)
    return m.passed(**{"domains": [m.domain(live=m.definition(live), next=m.definition(line))], **change})


def off(line: HostdevUsb, **change: Any) -> Evidence:
    """`hearth` is off and starts with the host; the stick is with the host."""
    return m.native(**{"domains": [m.domain(next=m.definition(line))], **change})


def by_qemu(*lines: UsbHostArg, uid: int = 0, **change: Any) -> Evidence:
    """A plain QEMU runs with the stick."""
    return m.passed(**{"domains": [], "qemu": [m.process(uid=uid, usb=list(lines), libvirt=False)], **change})


def twins() -> dict[str, Any]:
    """A second stick of the same kind."""
    return {"usb": [m.root_hub(), m.stick(), m.stick("1-3", 5, "D4E5F6")]}


def elsewhere() -> dict[str, Any]:
    """The stick came back as device 7 in another socket."""
    return {"usb": [m.root_hub(), m.stick("1-3", 7)]}


def whole(managed: bool, vfio: bool, **change: Any) -> Evidence:
    """`hearth` is given the whole controller that the stick sits on."""
    controller = structs.replace(
        Controller(
            address=PCI,
            class_="0c0330",
            driver="vfio-pci" if vfio else "xhci_hcd",
            vfio=vfio,
            iommu_group=4,
            group=[],
            buses=[],
        ),
        **change,
    )
    asks = Definition(usb=[], pci=[PciArg(address=PCI, managed=managed)], ttys=[], usb_bus=True)
    return m.native(controllers=[controller], domains=[m.domain(next=asks)], pci_functions=[PCI])


def serial(path: str, **change: Any) -> Evidence:
    """`hearth`, off, has the stick's tty as its serial port."""
    asks = Definition(usb=[], pci=[], ttys=[TtyArg(path=path)], usb_bus=True)
    return m.native(**{"domains": [m.domain(next=asks)], **change})


def two_vms(**attic: Any) -> Evidence:
    """`hearth` has the stick; `attic` is off and asks for it as well."""
    other = m.domain("attic", next=m.definition(m.IDS), **attic)
    return m.passed(domains=[*_domains(m.passed()), other])


def _domains(evidence: Evidence) -> list[Any]:
    return list(evidence.domains) if isinstance(evidence.domains, list) else []


CB, ALONE, CHANCE = "comes-back", "only-if-alone", "by-chance"
NOT, REFUSED, NOBODY = "does-not-come-back", "refused", "not-started"
OPTIONAL = structs.replace(m.IDS, startup="optional")

# Name: evidence, outcome for `hearth` when it is stopped and started, outcome when the host restarts.
RESTARTS: dict[str, tuple[Evidence, str | None, str | None]] = {
    # libvirt, src/hypervisor/virhostdev.c, virHostdevFindUSBDevice
    "libvirt, IDs, alone": (by_libvirt(m.IDS), CB, CB),
    "libvirt, IDs, twins": (by_libvirt(m.IDS, **twins()), REFUSED, REFUSED),
    "libvirt, IDs, optional, twins": (by_libvirt(OPTIONAL, **twins()), REFUSED, REFUSED),
    "libvirt, IDs, not there": (off(HostdevUsb(vid="1209", pid="7a99")), REFUSED, REFUSED),
    "libvirt, IDs, optional, not there": (off(HostdevUsb(vid="1209", pid="7a99", startup="optional")), NOT, NOT),
    "libvirt, IDs, requisite, not there": (
        off(HostdevUsb(vid="1209", pid="7a99", startup="requisite")),
        REFUSED,
        REFUSED,
    ),
    "libvirt, number": (by_libvirt(BY_ADDRESS), CB, CHANCE),
    "libvirt, number, replugged": (off(BY_ADDRESS, **elsewhere()), REFUSED, CHANCE),
    "libvirt, number, optional, replugged": (
        off(structs.replace(BY_ADDRESS, startup="optional"), **elsewhere()),
        NOT,
        CHANCE,
    ),
    "libvirt, number with IDs": (by_libvirt(m.bound()), CB, CHANCE),
    "libvirt, number with IDs, replugged": (off(m.bound(), **elsewhere()), REFUSED, CHANCE),
    "libvirt, socket": (by_libvirt(HostdevUsb(bus=1, port="2")), CB, CB),
    "libvirt, socket, moved": (off(HostdevUsb(bus=1, port="2"), **elsewhere()), REFUSED, REFUSED),
    "libvirt, attached by hand only": (
        m.passed(domains=[m.domain(live=m.definition(m.bound()), next=m.definition())]),
        NOT,
        NOT,
    ),
    "libvirt, added while it runs": (
        off(m.IDS, domains=[m.domain(live=m.definition(), next=m.definition(m.IDS))]),
        CB,
        CB,
    ),
    "libvirt, autostart off": (
        m.passed(domains=[m.domain(live=m.definition(m.bound()), next=m.definition(m.IDS), autostart=False)]),
        CB,
        NOBODY,
    ),
    "libvirt, transient": (
        m.passed(domains=[m.domain(live=m.definition(m.bound()), next=None, persistent=False, autostart=False)]),
        CB,
        NOBODY,
    ),
    "libvirt, no USB controller": (
        off(m.IDS, domains=[m.domain(next=m.definition(m.IDS, usb_bus=False))]),
        REFUSED,
        REFUSED,
    ),
    "libvirt, locked by authorized": (off(m.IDS, usb=[m.root_hub(), m.stick(authorized=False)]), NOT, NOT),
    "libvirt, a spare that is off": (two_vms(autostart=False), CB, CB),
    "libvirt, two that start with the host": (two_vms(autostart=True), CB, CHANCE),
    "libvirt, the other one has it": (
        m.passed(
            qemu=[m.process("attic")],
            domains=[
                m.domain("attic", live=m.definition(m.bound()), next=m.definition()),
                m.domain(next=m.definition(m.IDS)),
            ],
        ),
        REFUSED,
        CB,
    ),
    "a plain QEMU asks for it too": (
        by_libvirt(m.IDS, qemu=[m.process(), m.process("attic", 701, uid=0, usb=[IDS], libvirt=False)]),
        CHANCE,
        CHANCE,
    ),
    "a plain QEMU takes anything": (
        by_libvirt(m.IDS, qemu=[m.process(), m.process("attic", 701, uid=0, usb=[UsbHostArg()], libvirt=False)]),
        CHANCE,
        CHANCE,
    ),
    # QEMU, hw/usb/host-libusb.c, usb_host_realize and usb_host_auto_check
    "QEMU, IDs, alone": (by_qemu(IDS), CB, CB),
    "QEMU, IDs, twins": (by_qemu(IDS, **twins()), ALONE, ALONE),
    "QEMU, IDs twice, twins": (by_qemu(IDS, structs.replace(IDS, id="b"), **twins()), CB, CB),
    "QEMU, vendor only, twins": (by_qemu(UsbHostArg(vid="1209"), **twins()), ALONE, ALONE),
    "QEMU, IDs, not there": (by_qemu(UsbHostArg(vid="1209", pid="7a99")), NOT, NOT),
    "QEMU, hostaddr": (by_qemu(UsbHostArg(bus=1, address=4)), CB, CHANCE),
    "QEMU, hostaddr, replugged": (by_qemu(UsbHostArg(bus=1, address=4), **elsewhere()), REFUSED, CHANCE),
    "QEMU, hostdevice": (by_qemu(UsbHostArg(node="/dev/bus/usb/001/004")), CB, CHANCE),
    "QEMU, hostdevice, replugged": (by_qemu(UsbHostArg(node="/dev/bus/usb/001/004"), **elsewhere()), REFUSED, CHANCE),
    "QEMU, hostdevice by a link of udev's": (by_qemu(UsbHostArg(node="/dev/mesh")), None, None),
    "QEMU, IDs and number, replugged": (
        by_qemu(UsbHostArg(vid="1209", pid="7a01", bus=1, address=4), **elsewhere()),
        NOT,
        CHANCE,
    ),
    "QEMU, socket": (by_qemu(UsbHostArg(bus=1, port="2")), CB, CB),
    "QEMU, socket, moved": (by_qemu(UsbHostArg(bus=1, port="2"), **elsewhere()), NOT, NOT),
    "QEMU, socket on any bus": (by_qemu(UsbHostArg(port="2")), ALONE, ALONE),
    "QEMU, no selector": (by_qemu(UsbHostArg()), ALONE, ALONE),
    "QEMU, may not open the node": (
        by_qemu(IDS, uid=1000, qemu=[m.process(uid=1000, usb=[IDS], own_nodes=[])]),
        NOT,
        NOT,
    ),
    "QEMU, number, may not open the node": (
        by_qemu(qemu=[m.process(uid=1000, usb=[UsbHostArg(bus=1, address=4)], own_nodes=[])]),
        REFUSED,
        REFUSED,
    ),
    # Linux, Documentation/driver-api/vfio.rst
    "controller, managed": (whole(managed=True, vfio=False), CB, CB),
    "controller, by hand": (whole(managed=False, vfio=True), CB, None),
    "controller, with the host's driver": (whole(managed=False, vfio=False), REFUSED, None),
    "controller, group shared": (
        whole(True, False, group=[GroupMember(address="0000:00:14.2", class_="050000", driver="intel_thing")]),
        REFUSED,
        REFUSED,
    ),
    "controller, no IOMMU": (whole(True, False, iommu_group=None), REFUSED, REFUSED),
    # ttys: Linux, drivers/usb/class/cdc-acm.c and serial/usb-serial.c; names: systemd, rules.d/60-serial.rules
    "tty, by-id": (serial(m.BY_ID), CB, CB),
    "tty, by-id that two claim": (
        serial(m.BY_ID, links=[Link(path=m.BY_ID, target="ttyACM0", claimants=["ttyACM0", "ttyACM1"])]),
        CHANCE,
        CHANCE,
    ),
    "tty, by-id that is gone": (serial(m.BY_ID.replace("A1", "F1")), REFUSED, REFUSED),
    "tty, first number": (serial("/dev/ttyACM0"), CB, ALONE),
    "tty, second number": (
        serial(
            "/dev/ttyACM1",
            ttys=[m.tty("ttyACM1", 1)],
            usb=[m.root_hub(), m.stick(interfaces=[m.interface(ttys=("ttyACM1",))])],
        ),
        CB,
        CHANCE,
    ),
    "tty, a link of one's own": (serial("/dev/mesh"), None, None),
    # What the log tells changes the reason only.
    "libvirt, IDs, flapping": (
        by_libvirt(
            m.IDS,
            kernel_log=log(*[event for n in range(3) for event in m.arrival(number=n + 2, at=m.NOW - 900 + 100 * n)]),
        ),
        CB,
        CB,
    ),
    "libvirt, optional, late this time": (
        by_libvirt(
            OPTIONAL,
            usb=m.given_away(m.stick(interfaces=[m.interface(driver="usbfs", ttys=())], connected_ms=7_990_000)),
            kernel_log=log(*m.arrival(at=m.NOW - 7990)),
        ),
        CB,
        CB,
    ),
    "handles of others not read": (by_libvirt(m.IDS, handles=Handles(open=[], unread=40)), CB, CB),
}
