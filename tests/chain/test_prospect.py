"""What a host without a VM is told before anything is installed on it."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.prospect import NO_IOMMU
from radiocheck.evidence.record import Evidence, Host
from radiocheck.evidence.usb import GroupMember, UsbInterface
from radiocheck.evidence.vm import GivenVm

from . import controllers as c
from . import machines as m
from .test_judge import report

SOUND_CHIP = GroupMember(address="0000:00:1f.3", class_="040300", driver="snd_hda_intel")


def fresh(hypervisor: bool = True, **change: Any) -> Evidence:
    """A host with the programs for VMs and no VM yet."""
    evidence = m.native(**{"controllers": [c.controller()], "disks": [], **change})
    assert isinstance(evidence.host, Host)
    return structs.replace(evidence, host=structs.replace(evidence.host, hypervisor=hypervisor))


def test_a_controller_that_could_be_given() -> None:
    """With the adapter on it, alone in its group, with nothing else."""
    assert report(fresh()).notes == [
        "A whole USB controller could be given to a VM: 0000:00:14.0 (alone in its IOMMU group; it carries "
        "Lindenhof Mesh stick A1B2C3 and nothing else)."
    ]


def test_what_the_host_would_lose() -> None:
    """The keyboard beside the adapter is told; controllers with adapters come first, and three are enough."""
    keys = UsbInterface(name="1-1:1.0", number=0, class_=3, subclass=1, protocol=1, driver="usbhid", ttys=[])
    keyboard = m.stick("1-1", 3, None, product="Keys", pid="7a02", device_class=0, interfaces=[keys])
    others = [c.controller(f"0000:0{number}:00.0") for number in range(1, 5)]
    notes = report(fresh(usb=[m.root_hub(), m.stick(), keyboard], controllers=[*others, c.controller()])).notes
    assert len(notes) == 3
    assert "it carries Lindenhof Mesh stick A1B2C3 and keyboard (Lindenhof Keys at 1-1)" in notes[0]
    assert "0000:01:00.0 (alone in its IOMMU group; it carries nothing now)" in notes[1]


def test_a_shared_group() -> None:
    """Told for the adapter's own controller, with what is in the way; not for controllers without one."""
    far = c.controller(c.FAR, group=[SOUND_CHIP])
    assert report(fresh(controllers=[c.controller(group=[SOUND_CHIP]), far])).notes == [
        "0000:00:14.0, with Lindenhof Mesh stick A1B2C3, cannot go to a VM whole: it shares its IOMMU group with "
        "0000:00:1f.3 (sound, driver snd_hda_intel)."
    ]


def test_a_group_with_idle_members() -> None:
    """Members without a driver of the host do not stand in the way (vfio.rst)."""
    idle = structs.replace(SOUND_CHIP, driver=None)
    (note,) = report(fresh(controllers=[c.controller(group=[idle])])).notes
    assert "its IOMMU group has nothing else in use" in note


def test_no_iommu() -> None:
    """Said once for the machine."""
    assert report(fresh(controllers=[c.controller(iommu_group=None), c.controller(c.FAR, iommu_group=None)])).notes == [
        NO_IOMMU
    ]


@pytest.mark.parametrize(
    "change",
    [
        {"hypervisor": False},
        {"domains": [c.asks(c.HOME)]},
        {"domains": [m.domain(next=m.definition())]},
        {"domains": UNSET},
        {"qemu": UNSET},
        {"qemu": [m.process()]},
        {"given_vms": [GivenVm(name="hearth", manager="qemu", origin="hearth.args")]},
        {"controllers": UNSET},
        {"controllers": []},
        {"controllers": [c.controller(iommu_group=UNSET)]},
        {"controllers": [c.controller(group=UNSET)]},
        {"usb": [m.root_hub(), m.stick(controller=UNSET)]},
        {"controllers": [c.away()]},
    ],
    ids=lambda change: next(iter(change)),
)
def test_nothing_is_told(change: dict[str, Any]) -> None:
    """Where a VM is, or may be, and where something was not seen; and on a machine that runs no VMs."""
    assert not [note for note in report(fresh(**change)).notes if "IOMMU" in note]
