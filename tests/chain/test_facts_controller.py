"""Facts about whole controllers, and the rules that are made of them."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.facts_controller import still_driven
from radiocheck.chain.verdict import Report
from radiocheck.evidence.disk import Disk
from radiocheck.evidence.record import Evidence, Host
from radiocheck.evidence.serial import Handles
from radiocheck.evidence.usb import GroupMember, UsbInterface
from radiocheck.evidence.vm import PciArg

from . import controllers as c
from . import machines as m
from .test_judge import own, report

SOUND_CHIP = GroupMember(address="0000:00:1f.3", class_="040300", driver="snd_hda_intel")
SATA = GroupMember(address="0000:00:17.0", class_="010601", driver="ahci")


def found(evidence: Evidence) -> list[tuple[str, str]]:
    """What is found about the worst chain, less that the VM is off."""
    return [one for one in own(report(evidence).chains[0]) if one != ("handover", "vm-off")]


def keyboard() -> Any:
    """The host's keyboard, on the stick's controller."""
    keys = UsbInterface(name="1-1:1.0", number=0, class_=3, subclass=1, protocol=1, driver="usbhid", ttys=[])
    return m.stick("1-1", 3, None, product="Keys", vid="1209", pid="7a02", device_class=0, interfaces=[keys])


def disk() -> Any:
    """A disk on the stick's controller."""
    plate = UsbInterface(name="1-1:1.0", number=0, class_=8, subclass=6, protocol=0x50, driver="usb-storage", ttys=[])
    return m.stick("1-1", 3, "S1", product="Shelf", vid="1209", pid="7a03", device_class=0, interfaces=[plate])


def test_a_controller_with_its_vm() -> None:
    """The running VM has it: no bus, no device on the host, and all is sound."""
    result = report(c.given())
    assert own(result.chains[0]) == []
    assert (result.verdict.state, result.chains[0].route) == ("sound", "controller")


@pytest.mark.parametrize(
    ("path", "held"),
    [("/dev/vfio/4", True), ("/dev/vfio/devices/vfio0", True), ("/dev/vfio/9", False), ("/dev/vfio/vfio", False)],
)
def test_the_node_that_is_open(path: str, held: bool) -> None:
    """The group's own node or one of iommufd; that of another function's group is none of it (vfio.rst)."""
    evidence = c.given(handles=Handles(open=[c.vfio_node(path=path)], unread=0))
    assert own(report(evidence).chains[0]) == ([] if held else [("handover", "controller-not-held")])


def test_a_controller_of_a_vm_that_is_off() -> None:
    """libvirt gives a managed one back, so the host shows the stick: nothing is wrong but that the VM is off."""
    assert found(c.off()) == []
    assert own(report(c.off()).chains[0]) == [("handover", "vm-off")]


@pytest.mark.parametrize(
    ("name", "change", "rules"),
    [
        ("left to the host", {}, [("assignment", "controller-left-to-host")]),
        ("no driver", {"driver": None}, [("assignment", "controller-left-to-host")]),
        (
            "meant for VFIO, too late",
            {"reserved": "/proc/cmdline: vfio-pci.ids=8086:1e31"},
            [("assignment", "controller-taken-at-boot")],
        ),
        ("override, too late", {"driver_override": "vfio-pci"}, [("assignment", "controller-taken-at-boot")]),
        ("no IOMMU", {"iommu_group": None}, [("assignment", "iommu-off")]),
        ("shared group", {"group": [SOUND_CHIP]}, [("assignment", "controller-group-shared")]),
    ],
)
def test_a_controller_that_nobody_takes_from_the_host(
    name: str, change: dict[str, Any], rules: list[tuple[str, str]]
) -> None:
    """With managed='no' libvirt takes nothing from the host; one headline tells what is in the way."""
    evidence = c.off(c.asks(c.HOME, managed=False), controllers=[c.controller(**change)])
    assert own(report(evidence).chains[0]) == rules, name
    assert report(evidence).verdict.step == "assignment"


@pytest.mark.parametrize(
    "change", [{"reserved": "/proc/cmdline: vfio-pci.ids=8086:1e31"}, {"driver_override": "vfio-pci"}]
)
def test_libvirt_takes_it_all_the_same(change: dict[str, Any]) -> None:
    """With managed='yes' it does not matter who was first at boot."""
    assert found(c.off(controllers=[c.controller(**change)])) == []


def test_set_aside_and_the_vm_off() -> None:
    """With managed='no' it stays with VFIO after the VM: nobody has the adapter."""
    evidence = c.given(domains=[c.asks(c.HOME, managed=False)], qemu=[], handles=Handles(open=[], unread=0))
    result = report(evidence)
    assert own(result.chains[0]) == [("handover", "controller-without-vm")]
    remedies = [
        one.remedies for step in result.chains[0].steps for one in step.findings if one.rule == "controller-without-vm"
    ]
    assert "sudo virsh nodedev-reattach pci_0000_00_14_0" in [cure.command for cure in remedies[0]]
    assert any("managed='yes'" in cure.do for cure in remedies[0])


def test_the_hosts_keyboard_goes_along() -> None:
    """Said before anyone starts the VM; a controller with nothing else on it is no trouble."""
    assert found(c.off(usb=[m.root_hub(), m.stick(), keyboard()])) == [("assignment", "controller-carries-more")]


def test_a_disk_in_use_goes_along() -> None:
    """A mounted USB disk on the controller is told as such, and not once more as something that hangs on it."""
    used = [Disk(name="sdb1", usb="1-1", pci=c.HOME, mounts=["/srv"])]
    evidence = c.off(usb=[m.root_hub(), m.stick(), disk()], disks=used)
    assert found(evidence) == [("assignment", "controller-takes-host-disk")]
    assert found(c.off(usb=[m.root_hub(), m.stick(), disk()])) == [("assignment", "controller-carries-more")]


def test_the_disk_controller_of_the_group_goes_along() -> None:
    """When the VM is given it too, the group is fit, and the host loses the file system on it."""
    both = c.asks(c.HOME, SATA.address)
    used = [Disk(name="sda2", usb=None, pci=SATA.address, mounts=["/"])]
    evidence = c.off(both, controllers=[c.controller(group=[SATA])], disks=used)
    assert found(evidence) == [("assignment", "controller-takes-host-disk")]
    assert found(structs.replace(evidence, disks=[])) == []


def test_nobody_is_told_to_give_the_disks_away() -> None:
    """The remedy for a shared group depends on what is in it."""
    for member, advice in ((SOUND_CHIP, "Give the other members to the VM"), (SATA, "Do not give the other members")):
        result = report(c.off(controllers=[c.controller(group=[member])]))
        finding = next(
            one for step in result.chains[0].steps for one in step.findings if one.rule == "controller-group-shared"
        )
        assert member.address in finding.seen
        assert any(cure.do.startswith(advice) for cure in finding.remedies), advice


def test_the_group_is_with_another_vm() -> None:
    """A group belongs to one VM at a time (vfio_main.c, vfio_group_fops_open)."""
    other = structs.replace(SOUND_CHIP, driver="vfio-pci")
    attic = c.asks(other.address, vm="attic", running=True)
    evidence = c.off(controllers=[c.controller(group=[other])], domains=[c.asks(c.HOME), attic])
    chain = next(one for one in report(evidence).chains if "hearth" in one.vms)
    assert own(chain) == [("assignment", "controller-group-of-other-vm")]
    resting = structs.replace(evidence, domains=[c.asks(c.HOME), c.asks(other.address, vm="attic")])
    assert found(resting) == []


@pytest.mark.parametrize(
    ("kernel", "pid", "hangs"),
    [
        ("5.4.0-42-generic", "149c", True),
        ("5.8.0-1-amd64", "149c", False),
        ("6.1.0-42-amd64", "148c", False),
        ("5.4.0-42-generic", "43d5", False),
    ],
)
def test_a_chip_that_a_reset_hangs(kernel: str, pid: str, hangs: bool) -> None:
    """1022:148c and 1022:149c under kernels without quirk_no_flr for them (drivers/pci/quirks.c)."""
    evidence = c.off(host=Host(kernel=kernel), controllers=[c.controller(vid="1022", pid=pid)])
    assert (("assignment", "controller-reset-hangs") in found(evidence)) is hangs


def elsewhere(result: Report) -> list[str]:
    """What the worst chain's assignment step says of adapters on other controllers."""
    step = next(one for one in result.chains[0].steps if one.step == "assignment")
    return [line for line in step.saw if "other controllers" in line]


def test_an_address_that_is_nothing_any_more() -> None:
    """The finding says on which controller the adapter sits now."""
    result = report(c.off(c.asks("0000:06:00.0"), pci_functions=[c.HOME]))
    chain = result.chains[0]
    assert ("assignment", "controller-address-wrong") in own(chain)
    finding = next(one for step in chain.steps for one in step.findings if one.rule == "controller-address-wrong")
    assert f"{c.HOME} (Lindenhof Mesh stick A1B2C3)" in finding.seen
    assert elsewhere(result)


def test_an_address_that_is_another_controller_now() -> None:
    """The one that the VM gets has no adapter, and the only adapter that nobody uses sits on another."""
    evidence = c.off(c.asks(c.FAR), controllers=[c.controller(), c.controller(c.FAR)])
    chain = next(one for one in report(evidence).chains if one.route == "controller")
    assert own(chain) == [("assignment", "controller-is-another")]


def test_a_controller_without_any_adapter() -> None:
    """The VM is off, so the host would see an adapter on it; there is none anywhere."""
    evidence = c.off(usb=[m.root_hub()], ttys=[], links=[], modules=[], usb_nodes=[], ports=[m.port(2, None)])
    result = report(evidence)
    assert (result.verdict.state, result.verdict.step) == ("broken", "bus")
    assert ("bus", "controller-without-adapter") in own(result.chains[0])


def test_a_controller_for_something_else() -> None:
    """While a program of the host uses its own adapter, a controller for an idle VM is none of our business."""
    used = Handles(open=[m.open_tty("mesh-server", uid=998, unit="mesh.service")], unread=0)
    evidence = c.off(c.asks(c.FAR), controllers=[c.controller(), c.controller(c.FAR)], handles=used)
    result = report(evidence)
    assert [chain.route for chain in result.chains] == ["native"]
    assert result.verdict.state == "sound"


def test_what_was_not_seen_stays_open() -> None:
    """Without the group's list, the disks or the other VMs, nothing is said to be fine or not."""
    assert still_driven(c.controller(group=UNSET), set()) is UNSET
    assert still_driven(c.controller(group=[structs.replace(SATA, driver=UNSET)]), set()) is UNSET
    bridge = structs.replace(SATA, class_="060400", driver="some_bridge")
    assert still_driven(c.controller(group=[bridge]), set()) == []
    managed = structs.replace(m.definition(), pci=[PciArg(address=c.HOME)])
    assert found(c.off(m.domain(next=managed))) == []
