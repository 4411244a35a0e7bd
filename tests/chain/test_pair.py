"""A host's capture and a VM's: which VM it is, whether they belong together, which adapter is which."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.pair import Match, NotAGuest, Pair, pair
from radiocheck.chain.subjects import subjects
from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, Taken
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import Monitor, PciArg, TtyArg, UsbHostArg

from . import guests as g
from . import machines as m


def paired(host: Evidence, guest: Evidence) -> Pair:
    """The pair of two captures."""
    return pair(host, subjects(host), guest)


def names(both: Pair) -> list[tuple[list[str], bool] | None]:
    """The devices in the VM that each adapter of the host could be, and whether another could be them too."""
    return [([one.name for one in match.devices], match.rivals) if known(match) else None for _, match in both.matches]


def taken(after: float) -> Taken:
    """A capture some seconds after the host's."""
    return Taken(at=m.NOW + after, tool="test", root=True)


# --- whose capture it is


@pytest.mark.parametrize(
    ("host", "guest", "word"),
    [
        (g.host(), g.host(), "the host's own"),
        (g.host(host=g.host_of(g.HEARTH)), g.hearth(), "the host's own"),
        (g.host(), g.hearth(host=g.host_of(UNSET, booted=m.NOW - 10_000)), "the host's own"),
        (g.host(), g.hearth(host=g.host_of(virtualisation=None)), "no capture of a VM"),
        (g.hearth(), g.hearth(host=g.host_of(g.ATTIC), taken=taken(60)), "the host's evidence comes first"),
    ],
)
def test_what_cannot_be_the_vm(host: Evidence, guest: Evidence, word: str) -> None:
    """The host's own capture (by UUID, else by the second of its boot), bare metal, and two VMs are refused."""
    guest = structs.replace(guest, taken=structs.replace(guest.taken, tool="other")) if host != guest else guest
    with pytest.raises(NotAGuest, match=word) as refusal:
        paired(host, guest)
    assert "\n" not in str(refusal.value)


SWAPPED = "2e1d3c8c-1111-2222-3333-444455556666"
MONITOR = Monitor(socket="/run/hearth.sock", name="hearth", uuid=g.HEARTH)


@pytest.mark.parametrize(
    ("host", "uuid", "vm"),
    [
        (g.host(), g.HEARTH, "hearth"),
        (g.host(), g.ATTIC, "attic"),
        (g.host(), SWAPPED.replace("2e", "2f"), None),
        (g.host(), None, UNSET),
        (g.host(), UNSET, UNSET),
        (g.host(domains=[]), g.HEARTH, "hearth"),
        (g.host(qemu=[m.process()]), g.HEARTH, "hearth"),
        (g.host(domains=[], qemu=[m.process()], monitors=[MONITOR]), g.HEARTH, "hearth"),
        (g.host(domains=UNSET), g.ATTIC, UNSET),
        (g.host(domains=[], qemu=[m.process(uuid=None)]), g.ATTIC, None),
        (g.host(domains=[], qemu=[m.process()]), g.ATTIC, UNSET),
    ],
)
def test_which_vm_was_captured(host: Evidence, uuid: Any, vm: Any) -> None:
    """By its firmware's UUID, told by libvirt, a command line or a monitor; none of them only when all are known."""
    assert paired(host, g.hearth(host=g.host_of(uuid))).vm == vm


def test_a_uuid_with_swapped_bytes_is_the_same() -> None:
    """SMBIOS before 2.6 writes the first three fields the other way round (drivers/firmware/dmi_scan.c)."""
    assert paired(g.host(), g.hearth(host=g.host_of(SWAPPED))).vm == "hearth"


# --- whether they belong together


@pytest.mark.parametrize(
    ("host", "guest", "same_run", "together"),
    [
        (g.host(), g.hearth(), True, True),
        (g.host(), g.hearth(taken=taken(3600)), True, True),
        (g.host(), g.hearth(taken=taken(3700)), True, False),
        (g.host(), g.hearth(taken=taken(-3700)), True, False),
        (g.host(qemu=[m.process(uuid=g.HEARTH, started=m.NOW - 10)]), g.hearth(taken=taken(-600)), False, False),
        (g.host(), g.hearth(host=g.host_of(booted=m.NOW + 500), taken=taken(900)), False, False),
        (g.host(qemu=[]), g.hearth(), False, False),
        (g.host(qemu=UNSET), g.hearth(), UNSET, UNSET),
        (g.host(qemu=[m.process(uuid=g.HEARTH, started=UNSET)]), g.hearth(), UNSET, UNSET),
        (g.host(), g.hearth(host=g.host_of(UNSET)), UNSET, UNSET),
        (g.host(), g.hearth(host=g.host_of(UNSET), taken=taken(9000)), UNSET, False),
        (g.host(), g.hearth(host=g.host_of(booted=UNSET)), UNSET, UNSET),
        (g.host(), g.hearth(host=g.host_of(booted=m.NOW + 60), taken=taken(90)), True, True),
    ],
)
def test_whether_they_tell_of_one_moment(host: Evidence, guest: Evidence, same_run: Any, together: Any) -> None:
    """At most an hour apart, and the VM not started or stopped between them; clocks may differ by two minutes."""
    both = paired(host, guest)
    assert (both.same_run, both.together) == (same_run, together)


# --- which adapter is which


def test_ids_and_strings_survive() -> None:
    """Another bus, number, port and controller: the same IDs, strings and serial number."""
    both = paired(g.host(), g.hearth())
    assert names(both) == [(["1-1"], False)]


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({"serial": "D4E5F6"}, []),
        ({"product": "Mesh rod"}, []),
        ({"manufacturer": "Birkenau"}, []),
        ({"pid": "7a02"}, []),
        ({"bcd": "0200"}, ["1-1"]),
        ({"serial": None}, ["1-1"]),
        ({"serial": UNSET, "product": UNSET}, ["1-1"]),
    ],
)
def test_what_tells_adapters_apart(change: dict[str, Any], found: list[str]) -> None:
    """Another word is another adapter; a word that one side could not read is not."""
    both = paired(g.host(), g.hearth(usb=[m.root_hub(), g.stick(**change)]))
    assert names(both) == [(found, False)]


def host_with_two(serials: tuple[str | None, str | None], second_vm: str = "hearth") -> Evidence:
    """Two sticks on the host, by port, for two VMs or for one."""
    first, second = serials
    devices: list[UsbDevice] = [
        m.stick(serial=first, interfaces=[m.interface(driver="usbfs", ttys=())]),
        m.stick("1-3", 5, second, interfaces=[m.interface("1-3:1.0", driver="usbfs", ttys=())]),
    ]
    one = m.process(uuid=g.HEARTH, uid=0, usb=[UsbHostArg(bus=1, port="2")])
    both = m.process(uuid=g.HEARTH, uid=0, usb=[UsbHostArg(bus=1, port="2"), UsbHostArg(bus=1, port="3")])
    other = m.process("attic", 701, uuid=g.ATTIC, uid=0, usb=[UsbHostArg(bus=1, port="3")])
    processes = [both] if second_vm == "hearth" else [one, other]
    return g.host(usb=[m.root_hub(), *devices], domains=[], qemu=processes)


def guest_with(*serials: str | None) -> list[UsbDevice]:
    """Sticks on the VM's bus."""
    sticks = [g.stick(f"1-{number}", number + 1, serial=serial) for number, serial in enumerate(serials, 1)]
    return [m.root_hub(), *sticks]


@pytest.mark.parametrize(
    ("host", "guest", "expected"),
    [
        # serial numbers tell them apart
        (host_with_two(("A1", "B2")), guest_with("A1", "B2"), [(["1-1"], False), (["1-2"], False)]),
        (host_with_two(("A1", "B2")), guest_with("B2"), [([], False), (["1-1"], False)]),
        (host_with_two(("A1", None)), guest_with("A1"), [(["1-1"], False), ([], False)]),
        # nothing does
        (host_with_two((None, None)), guest_with(None, None), [(["1-1", "1-2"], True), (["1-1", "1-2"], True)]),
        (host_with_two((None, None)), guest_with(None), [(["1-1"], True), (["1-1"], True)]),
        # only one of them is for the VM that was captured
        (host_with_two((None, None), "attic"), guest_with(None), [(["1-1"], False), ([], False)]),
        (g.host(usb=m.given_away(m.stick(serial=None))), guest_with(None, None), [(["1-1", "1-2"], False)]),
    ],
)
def test_two_alike(host: Evidence, guest: list[UsbDevice], expected: object) -> None:
    """Identical ones are not guessed, on neither side; a serial number or the VM's configuration decides."""
    assert names(paired(host, g.hearth(usb=guest))) == expected


def test_a_vm_whose_bus_was_not_read_matches_nothing() -> None:
    """Absent is not empty."""
    assert names(paired(g.host(), g.hearth(usb=UNSET))) == [None]


def behind(vid: Any = "1912", pid: Any = "0014", **change: Any) -> Evidence:
    """A host that has given a whole controller away."""
    card = structs.replace(
        m.native().controllers[0], address="0000:03:00.0", vid=vid, pid=pid, driver="vfio-pci", vfio=True, buses=[]
    )
    line = structs.replace(m.definition(), pci=[PciArg(address="0000:03:00.0")])
    running = m.domain(uuid=g.HEARTH, live=line, next=line)
    empty: dict[str, Any] = {"usb": [], "ports": [], "ttys": [], "links": [], "usb_nodes": [], "modules": []}
    return g.host(**{**empty, "controllers": [card], "domains": [running], "handles": m.native().handles, **change})


@pytest.mark.parametrize(
    ("host", "controllers", "found"),
    [
        (behind(), [g.controller(vid="1912", pid="0014")], (["1-1"], False)),
        (behind(), [g.controller()], ([], False)),
        (behind("1033", "0194"), [g.controller(vid="1033", pid="0194")], None),
        (behind(UNSET, UNSET), [g.controller(vid="1912", pid="0014")], None),
        (behind(), UNSET, None),
    ],
)
def test_behind_a_controller_that_was_given_whole(host: Evidence, controllers: Any, found: object) -> None:
    """The controller's own IDs lead to it; a card like one that QEMU makes cannot be told from it."""
    assert names(paired(host, g.hearth(controllers=controllers))) == [found]


def test_a_forwarded_tty_is_seen_only_as_qemus_own_converter() -> None:
    """QEMU's usb-serial says 0403:6001 "QEMU USB SERIAL" (hw/usb/dev-serial.c); other ports of a VM are not on USB."""
    host = g.host(
        usb=m.native().usb,
        ttys=[m.tty()],
        links=m.native().links,
        handles=m.native().handles,
        domains=[],
        qemu=[m.process(uuid=g.HEARTH, ttys=[TtyArg(path=m.BY_ID)])],
    )
    own = g.stick(vid="0403", pid="6001", manufacturer="QEMU", product="QEMU USB SERIAL", serial="1")
    assert names(paired(host, g.hearth(usb=[m.root_hub(), own]))) == [(["1-1"], False)]
    assert names(paired(host, g.hearth(usb=[m.root_hub()]))) == [None]


def test_the_only_one_that_it_can_be() -> None:
    """One device and no rival is sure; anything else is not."""
    device = g.stick()
    assert Match((device,), rivals=False).sure is device
    assert Match((device,), rivals=True).sure is None
    assert Match((device, device), rivals=False).sure is None
    assert Match((), rivals=False).sure is None
