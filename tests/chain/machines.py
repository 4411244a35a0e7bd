"""A small invented house: the host `gable`, a mesh stick, the VMs `hearth` and `attic`.

Every function gives one record of the evidence; a test changes what it is about.
"""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, structs

from radiocheck.evidence.container import ContainerNode
from radiocheck.evidence.record import FORMAT, Event, Evidence, Host, KernelLog, Taken
from radiocheck.evidence.serial import Handle, Handles, Link, Node, Service, Tty, User
from radiocheck.evidence.usb import Controller, Module, UsbDevice, UsbInterface, UsbPort
from radiocheck.evidence.vm import Definition, Domain, HostdevUsb, QemuProcess

NOW = 1_790_000_000.0
BY_ID = "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3-if00"


def interface(
    name: str = "1-2:1.0", driver: str | None = "cdc_acm", ttys: tuple[str, ...] = ("ttyACM0",)
) -> UsbInterface:
    """The control interface of a CDC ACM function."""
    return UsbInterface(
        name=name,
        number=0,
        class_=2,
        subclass=2,
        protocol=1,
        endpoints=1,
        driver=driver,
        authorized=True,
        label=None,
        modalias="usb:v1209p7A01d0100dc02dsc00dp00ic02isc02ip01in00",
        ttys=list(ttys),
    )


def stick(name: str = "1-2", devnum: int = 4, serial: str | None = "A1B2C3", **change: Any) -> UsbDevice:
    """The adapter, native and healthy."""
    bus, _, path = name.partition("-")
    device = UsbDevice(
        name=name,
        bus=int(bus),
        devnum=devnum,
        path=path,
        parent=f"usb{bus}",
        port=f"usb{bus}-port{path}",
        controller="0000:00:14.0",
        vid="1209",
        pid="7a01",
        bcd="0100",
        manufacturer="Lindenhof",
        product="Mesh stick",
        serial=serial,
        device_class=2,
        version="2.00",
        speed=12.0,
        ports=0,
        self_powered=False,
        max_power_ma=100,
        configuration=1,
        authorized=True,
        removable="removable",
        power_control="on",
        autosuspend_ms=2000,
        runtime_status="active",
        connected_ms=9_000_000,
        driver="usb",
        urbs=100,
        interfaces=[interface(f"{name}:1.0")],
    )
    return structs.replace(device, **change)


def root_hub(bus: int = 1) -> UsbDevice:
    """A root hub."""
    return UsbDevice(
        name=f"usb{bus}",
        bus=bus,
        devnum=1,
        path="0",
        parent=None,
        port=None,
        controller="0000:00:14.0",
        vid="1d6b",
        pid="0002",
        bcd="0601",
        manufacturer="Linux",
        product="xHCI Host Controller",
        serial=None,
        device_class=9,
        speed=480.0,
        ports=4,
        configuration=1,
        authorized=True,
        power_control="auto",
        autosuspend_ms=0,
        interfaces=[],
        max_power_ma=0,
        self_powered=True,
        driver="usb",
    )


def port(number: int = 2, device: str | None = "1-2", **change: Any) -> UsbPort:
    """A port of the root hub."""
    base = UsbPort(
        name=f"usb1-port{number}",
        hub="usb1",
        number=number,
        connect_type="hotplug",
        over_current=0,
        state="configured" if device else "not attached",
        disabled=False,
        early_stop=False,
        peer=None,
        device=device,
    )
    return structs.replace(base, **change)


def tty(name: str = "ttyACM0", minor: int = 0, where: str = "1-2:1.0", **change: Any) -> Tty:
    """Its serial node with the usual rights."""
    node = Node(
        path=f"/dev/{name}", major=166, minor=minor, mode=0o660, uid=0, gid=20, owner="root", group="dialout", acl=None
    )
    return structs.replace(
        Tty(name=name, interface=where, port_number=None, node=node, udev={}, console=False), **change
    )


def arrival(device: str = "1-2", number: int = 4, at: float = NOW - 9000, serial: str = "A1B2C3") -> list[Event]:
    """The kernel's words when it is plugged in."""

    def say(kind: str, after: float, **data: str) -> Event:
        return Event(kind=kind, at=at + after, device=device, data=data, text=f"usb {device}: {kind}")

    return [
        say("new-device", 0.0, num=str(number), speed="full"),
        say("found", 0.1, vid="1209", pid="7a01"),
        say("string-value", 0.2, k="Product", v="Mesh stick"),
        say("string-value", 0.2, k="Manufacturer", v="Lindenhof"),
        say("string-value", 0.2, k="SerialNumber", v=serial),
        structs.replace(say("acm", 0.3), tty="ttyACM0"),
    ]


def departure(device: str = "1-2", number: int = 4, at: float = NOW - 60) -> Event:
    """The kernel's words when it leaves."""
    return Event(
        kind="disconnect", at=at, device=device, data={"num": str(number)}, text=f"usb {device}: USB disconnect"
    )


def native(**change: Any) -> Evidence:
    """A host whose own program may use the stick; nothing is given to a VM; everything could be seen."""
    evidence = Evidence(
        radiocheck_evidence=FORMAT,
        taken=Taken(at=NOW, tool="test", root=True),
        host=Host(
            kernel="6.1.0-42-amd64",
            machine="x86_64",
            distribution="Debian GNU/Linux 12 (bookworm)",
            booted=NOW - 10_000,
            virtualisation=None,
            container=None,
            udev_running=True,
        ),
        usb=[root_hub(), stick()],
        ports=[port(1, None), port()],
        controllers=[
            Controller(
                address="0000:00:14.0",
                class_="0c0330",
                vid="8086",
                pid="1e31",
                driver="xhci_hcd",
                driver_override=None,
                vfio=False,
                iommu_group=None,
                group=[],
                buses=[1, 2],
            )
        ],
        modules=[Module(name="cdc_acm", interfaces=["1-2:1.0"], loaded=True, available=True, blocked_by=None)],
        ttys=[tty()],
        links=[Link(path=BY_ID, target="ttyACM0", claimants=["ttyACM0"])],
        usb_nodes=[
            Node(
                path="/dev/bus/usb/001/004",
                major=189,
                minor=3,
                mode=0o664,
                uid=0,
                gid=0,
                owner="root",
                group="root",
                acl=None,
            )
        ],
        users=[User(name="mira", uid=1000, exists=True, groups=[1000, 20], session_groups=[1000, 20], asked=True)],
        handles=Handles(open=[], unread=0),
        services=[],
        kernel_log=KernelLog(source="journal", events=arrival(), since=NOW - 10_000, from_boot=True),
        qemu=[],
        domains=[],
        vm_messages=[],
        gaps=[],
    )
    return structs.replace(evidence, **change)


def given(path: str = "/dev/radio", minor: int = 0, gid: int = 20, **change: Any) -> ContainerNode:
    """The stick's node as a healthy container has it, for a process of `mira`'s that got the node's group."""
    node = Node(path=path, major=166, minor=minor, mode=0o660, uid=0, gid=gid, owner="root", group=None, acl=None)
    base = ContainerNode(
        tty="ttyACM0",
        major=166,
        minor=0,
        node=node,
        mount="tmpfs",
        nodev=False,
        removed=False,
        refused=None,
        listed=None,
        asked_uid=1000,
        asked_groups=[20, 1000],
    )
    return structs.replace(base, **change)


def contained(entry: ContainerNode | None = None, **change: Any) -> Evidence:
    """A container on that host, which shows the host's processes: no udev, a /dev and an account file of its own."""
    evidence = native(
        ttys=[tty(node=None, udev=UNSET)],
        links=[],
        users=[User(name="mira", uid=1000, exists=True, groups=[1000], session_groups=[1000], asked=True)],
        container_nodes=[given() if entry is None else entry],
    )
    host = structs.replace(evidence.host, container="systemd-nspawn", udev_running=False)
    return structs.replace(evidence, host=host, **change)


def definition(*usb: HostdevUsb, usb_bus: bool = True) -> Definition:
    """The parts of a domain XML that matter."""
    return Definition(usb=list(usb), pci=[], ttys=[], usb_bus=usb_bus)


IDS = HostdevUsb(vid="1209", pid="7a01")


def bound(address: int = 4, **change: Any) -> HostdevUsb:
    """The line of a running VM: libvirt has written the number that it found."""
    return structs.replace(HostdevUsb(vid="1209", pid="7a01", bus=1, address=address), **change)


def domain(
    name: str = "hearth", live: Definition | None = None, next: Definition | None = None, **change: Any
) -> Domain:
    """A libvirt domain; running when it has a live definition."""
    state = "running" if live is not None else "shut off"
    return structs.replace(
        Domain(name=name, state=state, autostart=True, persistent=True, live=live, next=next), **change
    )


def process(name: str = "hearth", pid: int = 700, **change: Any) -> QemuProcess:
    """Its QEMU process."""
    base = QemuProcess(
        pid=pid,
        name=name,
        uid=64055,
        user="libvirt-qemu",
        groups=[64055],
        started=NOW - 8000,
        usb=[],
        pci=[],
        ttys=[],
        usb_bus=True,
        own_nodes=[
            Node(
                path="/dev/bus/usb/001/004",
                major=189,
                minor=3,
                mode=0o660,
                uid=64055,
                gid=64055,
                owner=None,
                group=None,
                acl=None,
            )
        ],
    )
    return structs.replace(base, **change)


def hold(pid: int = 700, minor: int = 3, deleted: bool = False, command: str = "qemu-system-x86") -> Handle:
    """An open usbfs node."""
    return Handle(
        pid=pid,
        command=command,
        uid=64055,
        user="libvirt-qemu",
        path=f"/dev/bus/usb/001/{minor + 1:03}",
        major=189,
        minor=minor,
        deleted=deleted,
        hypervisor=command.startswith("qemu"),
        container=False,
        unit=None,
    )


def open_tty(command: str, pid: int = 900, uid: int = 1000, unit: str | None = None, name: str = "ttyACM0") -> Handle:
    """An open serial node."""
    return Handle(
        pid=pid,
        command=command,
        uid=uid,
        user="mira" if uid == 1000 else "root",
        path=f"/dev/{name}",
        major=166,
        minor=0,
        hypervisor=False,
        container=False,
        unit=unit,
    )


def given_away(device: UsbDevice | None = None) -> list[UsbDevice]:
    """The bus while a VM has the stick: no tty, the interface claimed through usbfs."""
    return [root_hub(), device or stick(interfaces=[interface(driver="usbfs", ttys=())])]


def passed(**change: Any) -> Evidence:
    """The stick is with the running libvirt VM `hearth`; everything is sound."""
    return structs.replace(
        native(
            usb=given_away(),
            ttys=[],
            links=[],
            handles=Handles(open=[hold()], unread=0),
            qemu=[process()],
            domains=[domain(live=definition(bound()), next=definition(IDS))],
        ),
        **change,
    )


def service(kind: str, unit: str, **change: Any) -> Service:
    """A running service."""
    return structs.replace(Service(kind=kind, unit=unit, active=True, enabled=True), **change)
