"""What stands around an adapter, from ports and their peers.

Peers: a connector's USB 2 and SuperSpeed ports are linked by the kernel (drivers/usb/core/port.c,
find_and_link_peer; Documentation/ABI/testing/sysfs-bus-usb, `port<X>/peer`).
"""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, UnsetType, structs

from radiocheck.chain.context import Context, context
from radiocheck.chain.neighbours import Neighbour, Seat, neighbours, seat
from radiocheck.chain.subjects import subjects
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import PhysicalPlace, UsbDevice, UsbPort

from . import machines as m


def disk(name: str, **change: Any) -> UsbDevice:
    """A disk at 5 Gb/s."""
    bus, _, path = name.partition("-")
    hub, _, number = path.rpartition(".")
    storage = structs.replace(m.interface(f"{name}:1.0", "usb-storage", ()), class_=8, subclass=6, protocol=80)
    base = m.stick(name, 7, "D1", product="Disk", device_class=0, speed=5000.0, interfaces=[storage])
    place = f"{bus}-{hub}-port{number}" if hub else f"usb{bus}-port{path}"
    return structs.replace(base, port=place, parent=f"{bus}-{hub}" if hub else f"usb{bus}", **change)


def hub(name: str, speed: float, **change: Any) -> UsbDevice:
    """A half of a hub in a socket of the machine."""
    return m.stick(
        name, 3, None, product="Hub", device_class=9, ports=4, speed=speed, interfaces=[], **change
    )  # fmt: skip


def socket(number: int, device: str | None = None, other: str | None = None, **change: Any) -> list[UsbPort]:
    """A socket of the machine: its USB 2 port on usb1 and its SuperSpeed port on usb2, each the other's peer."""
    two, three = f"usb1-port{number}", f"usb2-port{number}"
    return [
        m.port(number, device, name=two, hub="usb1", peer=three, **change),
        m.port(number, other, name=three, hub="usb2", peer=two, **change),
    ]


def hub_socket(number: int, device: str | None = None, other: str | None = None) -> list[UsbPort]:
    """A socket of the hub whose halves are 1-1 and 2-1."""
    two, three = f"1-1-port{number}", f"2-1-port{number}"
    return [
        m.port(number, device, name=two, hub="1-1", peer=three),
        m.port(number, other, name=three, hub="2-1", peer=two),
    ]


def machine(*devices: UsbDevice, ports: list[UsbPort], **change: Any) -> tuple[Context, UsbDevice]:
    """A machine with these devices besides its root hubs, indexed, and the adapter among them."""
    evidence = m.native(usb=[m.root_hub(), m.root_hub(2), *devices], ports=ports, **change)
    return indexed(evidence), next(one for one in devices if one.product == "Mesh stick")


def indexed(evidence: Evidence, inside: bool | UnsetType = False) -> Context:
    """The evidence, indexed."""
    return context(evidence, subjects(evidence), inside)


def around(*devices: UsbDevice, ports: list[UsbPort]) -> list[Neighbour]:
    """The neighbours of the adapter among the devices."""
    found = neighbours(*machine(*devices, ports=ports))
    assert not isinstance(found, UnsetType)
    return found


def test_next_socket() -> None:
    """Sockets whose ports have neighbouring numbers on one hub are neighbours, though the disk is on another bus."""
    ports = [*socket(1), *socket(2, "1-2"), *socket(3, None, "2-3")]
    (one,) = around(m.stick(), disk("2-3"), ports=ports)
    assert (one.label, one.where, one.mbps, one.beside) == ("Lindenhof Disk D1", "next-port", 5000, True)


def test_other_panel() -> None:
    """Neighbouring numbers are no neighbours when firmware puts the ports on different panels."""
    front, back = PhysicalPlace(panel="front"), PhysicalPlace(panel="back")
    ports = [*socket(2, "1-2", place=front), *socket(3, None, "2-3", place=back)]
    (one,) = around(m.stick(), disk("2-3"), ports=ports)
    assert (one.where, one.beside) == ("controller", False)


def test_unknown_panel_proves_nothing() -> None:
    """A panel that firmware calls unknown is no other panel."""
    front, nowhere = PhysicalPlace(panel="front"), PhysicalPlace(panel="unknown")
    ports = [*socket(2, "1-2", place=front), *socket(3, None, "2-3", place=nowhere)]
    assert around(m.stick(), disk("2-3"), ports=ports)[0].where == "next-port"


def test_same_connector() -> None:
    """What sits on the peer of the adapter's own port shares its connector."""
    (one,) = around(m.stick(), disk("2-2"), ports=socket(2, "1-2", "2-2"))
    assert one.where == "connector"


def test_same_location() -> None:
    """Ports with one location, as firmware gives it, are one connector even without a peer link."""
    ports = [
        m.port(2, "1-2", location=0x21),
        m.port(7, "2-7", name="usb2-port7", hub="usb2", location=0x21, peer=None),
    ]
    assert around(m.stick(), disk("2-7"), ports=ports)[0].where == "connector"


def test_silent_firmware_is_no_location() -> None:
    """Two ports of which firmware says nothing are not at one place."""
    ports = [m.port(2, "1-2", location=None), m.port(7, "2-7", name="usb2-port7", hub="usb2", location=None)]
    assert around(m.stick(), disk("2-7"), ports=ports)[0].where == "controller"


def test_same_place_of_the_panel() -> None:
    """Ports on different hubs that firmware puts at one place of a panel are near each other."""
    place = PhysicalPlace(panel="back", vertical="upper", horizontal="left")
    ports = [*socket(2, "1-2", place=place), *socket(9, None, "2-9", place=place)]
    assert around(m.stick(), disk("2-9"), ports=ports)[0].where == "panel"


def test_on_the_same_hub() -> None:
    """The hub's own SuperSpeed link comes first, then its other sockets: they are all in one box."""
    devices = [hub("1-1", 480.0), hub("2-1", 5000.0), m.stick("1-1.1", parent="1-1", port="1-1-port1"), disk("2-1.4")]
    ports = [*socket(1, "1-1", "2-1"), *hub_socket(1, "1-1.1"), *hub_socket(4, None, "2-1.4")]
    found = around(*devices, ports=ports)
    assert [(one.where, one.hub, one.beside) for one in found] == [("own-hub", True, True), ("hub", False, True)]


def test_hub_in_the_next_socket() -> None:
    """A SuperSpeed hub is a source by its own cable, and so is not what is behind it, which is away."""
    devices = [m.stick(), hub("1-1", 480.0), hub("2-1", 5000.0), disk("2-1.4")]
    ports = [*socket(1, "1-1", "2-1"), *socket(2, "1-2"), *hub_socket(4, None, "2-1.4")]
    assert [(one.name, one.where) for one in around(*devices, ports=ports)] == [
        ("2-1", "next-port"),
        ("2-1.4", "controller"),
    ]


def test_slow_devices_do_not_count() -> None:
    """A disk that runs at USB 2 speed beside it makes no SuperSpeed noise."""
    ports = [*socket(2, "1-2"), *socket(3, "1-3")]
    assert around(m.stick(), structs.replace(disk("1-3"), speed=480.0), ports=ports) == []


def test_other_controller() -> None:
    """A device of another controller is elsewhere."""
    ports = [*socket(2, "1-2"), m.port(1, "4-1", name="usb4-port1", hub="usb4", peer="usb3-port1")]
    assert around(m.stick(), disk("4-1", controller="0000:05:00.0"), ports=ports)[0].where == "elsewhere"


@pytest.mark.parametrize(
    ("change", "activity"),
    [
        ({"runtime_status": "suspended", "urbs": 10**9}, "asleep"),
        ({"runtime_status": "active", "urbs": 9_000, "connected_ms": 9_000_000}, "busy"),
        ({"runtime_status": "active", "urbs": 8_999, "connected_ms": 9_000_000}, "awake"),
        ({"runtime_status": "active", "urbs": UNSET}, "awake"),
        ({"runtime_status": UNSET, "urbs": 9_000}, UNSET),
    ],
)
def test_activity(change: dict[str, Any], activity: str) -> None:
    """Asleep is what runtime power management says; busy is one transfer a second on average or more."""
    ports = [*socket(2, "1-2"), *socket(3, None, "2-3")]
    assert around(m.stick(), disk("2-3", **change), ports=ports)[0].activity == activity


def test_not_seen() -> None:
    """Without devices or ports nothing can be said; that is not the same as none."""
    evidence = m.native(usb=[m.root_hub(), m.stick()], ports=UNSET)
    assert neighbours(indexed(evidence), m.stick()) is UNSET
    assert neighbours(indexed(m.native(usb=UNSET)), m.stick()) is UNSET


def test_a_vm_has_no_sockets() -> None:
    """In a VM an adapter on an emulated controller sits in no socket that can be seen."""
    evidence = m.native(usb=[m.root_hub(), m.stick()], ports=socket(2, "1-2"), controllers=UNSET)
    assert neighbours(indexed(evidence, inside=True), m.stick()) is UNSET
    assert neighbours(indexed(evidence), m.stick()) == []


def test_seat() -> None:
    """Straight in a socket of the machine, or behind a hub; a hub that is built in is part of the machine."""
    straight = machine(m.stick(), ports=socket(2, "1-2"))
    assert seat(*straight) == Seat((), True)
    above = hub("1-1", 480.0)
    stick = m.stick("1-1.1", parent="1-1", port="1-1-port1")
    ports = [*socket(1, "1-1"), m.port(1, "1-1.1", name="1-1-port1", hub="1-1", peer=None)]
    assert seat(*machine(above, stick, ports=ports)) == Seat(("Lindenhof Hub at 1-1",), False)
    assert seat(*machine(structs.replace(above, removable="fixed"), stick, ports=ports)) == Seat((), False)


def test_seat_not_seen() -> None:
    """A hub above that is not in the evidence leaves the seat unknown."""
    stick = m.stick("1-1.1", parent="1-1", port="1-1-port1")
    assert seat(*machine(stick, ports=socket(1))) is UNSET
