"""What configuration may name here: sockets, controllers, groups, accounts."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.build import view
from radiocheck.chain.context import context
from radiocheck.chain.facts_choice import account, names_ports
from radiocheck.chain.subjects import subjects
from radiocheck.chain.view import View
from radiocheck.evidence.record import Evidence, Host
from radiocheck.evidence.usb import GroupMember
from radiocheck.evidence.vm import HostdevUsb

from . import machines as m
from .test_judge import two


def seen(evidence: Evidence) -> View:
    """The view of its first adapter."""
    found = subjects(evidence)
    return view(context(evidence, found), found[0])


@pytest.mark.parametrize(
    ("version", "answer"),
    [
        ("9.0.0", False),
        ("11.3.0", False),  # its schema has no `port` in the source of a USB hostdev
        ("11.4.0", UNSET),  # between the two nobody has looked
        ("12.7.0", UNSET),
        ("12.8.0", True),  # its schema has it
        ("13.0.0", True),
        (None, UNSET),
        (UNSET, UNSET),
        ("new", UNSET),
    ],
)
def test_sockets(version: Any, answer: Any) -> None:
    """Whether libvirt can name a socket is known for the releases whose schemas were read, and open between them."""
    evidence = m.native(libvirt_version=version)
    assert names_ports(evidence) is answer
    assert seen(evidence).host.libvirt_names_ports is answer


def test_what_sits_beside_it() -> None:
    """Everything else on the same controller is named, hubs are not, and devices of other controllers are not."""
    evidence = m.native(**two())
    assert seen(evidence).adapter.beside == ["serial adapter (Lindenhof Mesh stick D4E5F6)"]
    assert evidence.usb is not UNSET
    moved = [structs.replace(one, controller="0000:02:00.0") if one.name == "1-3" else one for one in evidence.usb]
    assert seen(structs.replace(evidence, usb=moved)).adapter.beside == []


def test_a_device_whose_controller_was_not_seen_leaves_it_open() -> None:
    """One device of unknown place may be lost too: what sits beside the adapter is then not known."""
    evidence = m.native(**two())
    assert evidence.usb is not UNSET
    lost = [structs.replace(one, controller=UNSET) if one.name == "1-3" else one for one in evidence.usb]
    assert seen(structs.replace(evidence, usb=lost)).adapter.beside is UNSET


@pytest.mark.parametrize("name", ["dummy_hcd.0", "vhci_hcd.0", None])
def test_off_pci(name: str | None) -> None:
    """A controller that is no PCI function cannot be given away: null."""
    evidence = m.native(usb=[m.root_hub(), m.stick(controller=name)])
    assert seen(evidence).adapter.controller is None
    assert seen(evidence).adapter.iommu is UNSET


def test_iommu_group() -> None:
    """The group's other members that the host drives count; a bridge does not."""
    one = m.native().controllers
    assert one is not UNSET
    members = [
        GroupMember(address="0000:00:14.2", class_="080500", driver="sdhci-pci"),
        GroupMember(address="0000:00:1c.0", class_="060400", driver="pcieport"),
    ]
    adapter = seen(m.native(controllers=[structs.replace(one[0], iommu_group=5, group=members)])).adapter
    assert (adapter.iommu, adapter.group_others) == (True, ["0000:00:14.2 (system function, driver sdhci-pci)"])
    assert seen(m.native()).adapter.iommu is False


@pytest.mark.parametrize(
    ("distribution", "group"),
    [
        ("Debian GNU/Linux 12 (bookworm)", "dialout"),
        ("Fedora Linux 42 (Server Edition)", "dialout"),
        ("Arch Linux", "uucp"),
        ("Alpine Linux v3.22", None),
        (None, UNSET),
    ],
)
def test_the_group_of_serial_ports(distribution: str | None, group: Any) -> None:
    """Without another serial port to look at, the distribution's group."""
    evidence = m.native(host=Host(distribution=distribution))
    assert seen(evidence).access.serial_group == group


def test_the_group_of_another_port_counts_more() -> None:
    """Another port's group is that of this machine, whatever the distribution says; root is no group for ports."""
    other = m.tty("ttyACM1", 1, "1-3:1.0")
    assert other.node
    for name, expected in (("serial", "serial"), ("root", "dialout")):
        ttys = [m.tty(), structs.replace(other, node=structs.replace(other.node, group=name))]
        assert seen(m.native(ttys=ttys)).access.serial_group == expected


@pytest.mark.parametrize(
    ("change", "user", "group"),
    [
        ({"uid": 107, "user": "qemu", "groups": [107, 20]}, "qemu", "dialout"),
        ({"uid": 1000, "user": "mira", "groups": [1000, 27, 20]}, None, "dialout"),
        ({"uid": 1000, "user": "mira", "groups": [1000, 36]}, None, "36"),
        ({"uid": 1000, "user": "mira", "groups": [1000, 36, 27]}, None, None),
        ({"uid": 1000, "user": "mira", "groups": [1000]}, None, None),
        ({"uid": 64055, "user": "libvirt-qemu", "groups": [64055]}, None, None),
        ({"uid": UNSET, "user": UNSET, "groups": UNSET}, UNSET, UNSET),
    ],
)
def test_accounts(change: dict[str, Any], user: Any, group: Any) -> None:
    """A system account, and the group of the serial ports or the only system group; nobody is guessed among several."""
    evidence = m.native()
    facts = account(context(evidence, subjects(evidence)), structs.replace(m.process(), **change))
    assert facts.get("as_user", UNSET) == user
    assert facts.get("as_group", UNSET) == group


@pytest.mark.parametrize(
    ("line", "node"),
    [
        (HostdevUsb(bus=1, address=4), "1:4"),
        (HostdevUsb(vid="1209", pid="7a01", bus=1, address=4), "1:4"),
        (HostdevUsb(vid="1209", pid="7a01"), None),
    ],
)
def test_the_number_that_the_next_start_asks_for(line: HostdevUsb, node: str | None) -> None:
    """A pinned line is known by its bus and number; a line by IDs has none, though the running VM is bound to one."""
    evidence = m.passed(
        domains=[m.domain(live=m.definition(m.bound()), next=m.definition(structs.replace(line, startup="optional")))]
    )
    assignments = seen(evidence).assignments
    assert assignments is not UNSET
    assert (assignments[0].next_node, assignments[0].startup) == (node, "optional")
