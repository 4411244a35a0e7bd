"""PCI USB controllers as read from sysfs, under umockdev testbeds."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.usb import Controller, GroupMember
from radiocheck.sources import controllers
from radiocheck.sources.machine import Machine

from .umock import Eventful, laid_out, needs_umockdev, refusing, seen_under

XHCI = "0000:00:14.0"


def by_address(machine: Machine) -> dict[str, Controller]:
    return {controller.address: controller for controller in controllers.collect(machine).facts["controllers"]}


def group(root: str, number: int, *addresses: str) -> None:
    """An IOMMU group as in Documentation/ABI sysfs-kernel-iommu_groups; umockdev has no word for it."""
    folder = f"{root}/sys/kernel/iommu_groups/{number}/devices"
    os.makedirs(folder)
    for address in addresses:
        os.symlink(f"../../../../devices/pci0000:00/{address}", f"{folder}/{address}")


@needs_umockdev
def test_every_field_of_a_controller() -> None:
    """An xHCI function with its driver, its two buses and what else shares its IOMMU group."""
    with laid_out("gable.umockdev") as root:
        group(root, 4, XHCI, "0000:00:14.2")
        seen = controllers.collect(Machine(root=root))
    assert seen.facts["controllers"] == [
        Controller(
            address=XHCI,
            class_="0c0330",
            vid="1b36",
            pid="000d",
            driver="xhci_hcd",
            reserved=None,
            driver_override=None,  # the kernel prints a null pointer as "(null)": drivers/pci/pci-sysfs.c
            vfio=False,
            iommu_group=4,
            group=[GroupMember(address="0000:00:14.2", class_="050000", driver=None)],
            buses=[1, 2],
        )
    ]
    assert seen.gaps == ()


@needs_umockdev
def test_other_functions_are_no_controllers() -> None:
    """Only class 0x0c03xx counts, whatever the driver: xHCI 30 and EHCI 20 here (class codes as in pci.ids)."""
    seen = seen_under("controllers", "gable.umockdev", "refused.umockdev", "given.umockdev", "platform.umockdev")
    assert {c.address: c.class_ for c in seen.controllers} == {
        XHCI: "0c0330",
        "0000:00:1a.0": "0c0320",
        "0000:00:1d.0": "0c0330",
    }


@needs_umockdev
def test_a_controller_that_was_given_away() -> None:
    """Bound to vfio-pci it has no buses, and the override says that this is meant (sysfs-bus-pci, driver_override)."""
    with laid_out("given.umockdev", "gable.umockdev") as root:
        given = by_address(Machine(root=root))["0000:00:1d.0"]
    assert (given.driver, given.driver_override, given.vfio, given.buses) == ("vfio-pci", "vfio-pci", True, [])


def settings(root: str, command_line: str = "", **files: str) -> None:
    """A kernel command line and files of modprobe.d."""
    Path(root, "proc").mkdir(exist_ok=True)
    Path(root, "proc/cmdline").write_text(f"BOOT_IMAGE=/vmlinuz ro quiet {command_line}\n")
    Path(root, "etc/modprobe.d").mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        Path(root, f"etc/modprobe.d/{name}.conf").write_text(text)


@needs_umockdev
@pytest.mark.parametrize(
    ("ids", "fits"),
    [
        ("1b36:000d", True),
        ("8086:1234,1B36:D", True),  # the kernel reads the numbers with %x
        ("0x1b36:0x000d", True),
        ("1b36:000d:ffffffff:ffffffff:0c0330:ffffff", True),
        ("1b36:000d:ffffffff:ffffffff:0c0320:ffffff", False),  # an EHCI of that number
        ("1b36:000d:1af4:1100", True),
        ("1b36:000d:1af4:1101", False),
        ("1b36:000e", False),
        ("1b36", False),
        ("no:number", False),
        ("", False),
    ],
)
def test_ids_that_set_it_aside(ids: str, fits: bool) -> None:
    """vfio-pci's parameter: vendor:device[:subvendor[:subdevice[:class[:mask]]]] (vfio_pci.c, vfio_pci_fill_ids)."""
    with laid_out("gable.umockdev") as root:
        folder = Path(f"{root}/sys/bus/pci/devices/{XHCI}")
        folder.joinpath("subsystem_vendor").write_text("0x1af4\n")
        folder.joinpath("subsystem_device").write_text("0x1100\n")
        settings(root, f"vfio-pci.ids={ids}")
        said = by_address(Machine(root=root))[XHCI].reserved
    assert said == (f"/proc/cmdline: vfio-pci.ids={ids}" if fits else None)


@needs_umockdev
def test_ids_in_a_file_of_modprobe() -> None:
    """`options` with either form of the module's name; other modules' options do not count."""
    with laid_out("gable.umockdev") as root:
        settings(root, other="options xhci_pci ids=1b36:000d\n", vfio="options vfio_pci disable_vga=1 ids=1b36:000d\n")
        said = by_address(Machine(root=root))[XHCI].reserved
    assert said == "/etc/modprobe.d/vfio.conf: options vfio_pci disable_vga=1 ids=1b36:000d"


@needs_umockdev
def test_settings_that_cannot_be_read() -> None:
    """A file that is refused could set it aside: then it is not known."""
    with laid_out("gable.umockdev") as root:
        settings(root, vfio="options vfio-pci ids=1b36:000d\n")
        seen = controllers.collect(Eventful(root=root, happens={"vfio.conf": refusing(errno.EACCES)}))
    assert seen.facts["controllers"][0].reserved is UNSET
    assert [(gap.what, gap.why) for gap in seen.gaps if "reserved" in gap.what] == [
        ("controllers[].reserved", "denied")
    ]


@needs_umockdev
def test_a_vfio_variant_driver_is_known_by_its_folder() -> None:
    """From Linux 6.1 on a function that a VFIO driver has shows a `vfio-dev` folder (sysfs-devices-vfio-dev)."""
    with laid_out("gable.umockdev") as root:
        folder = Path(f"{root}/sys/bus/pci/devices/{XHCI}")
        folder.joinpath("driver").unlink()
        folder.joinpath("driver").symlink_to("../../../bus/pci/drivers/maker_vfio_pci")
        assert by_address(Machine(root=root))[XHCI].vfio is False
        folder.joinpath("vfio-dev", "vfio0").mkdir(parents=True)
        assert by_address(Machine(root=root))[XHCI].vfio is True


@needs_umockdev
def test_no_iommu() -> None:
    """Without the link there is no IOMMU group, so nothing shares one."""
    with laid_out("refused.umockdev") as root:
        (seen,) = by_address(Machine(root=root)).values()
    assert (seen.iommu_group, seen.group) == (None, [])


@needs_umockdev
def test_a_group_that_cannot_be_listed_is_not_an_empty_group() -> None:
    """The function itself is always a member: a list without it was not complete."""
    with laid_out("gable.umockdev") as root:  # the link is there, the group's folder is not
        seen = by_address(Machine(root=root))[XHCI]
    assert (seen.iommu_group, seen.group) == (4, UNSET)


@needs_umockdev
def test_buses_below_a_platform_device_of_the_function() -> None:
    """With dwc3 platform devices stand between function and root hub: the nearest PCI function still owns the bus."""
    with laid_out("gable.umockdev") as root:
        link = Path(f"{root}/sys/bus/usb/devices/usb7")
        link.symlink_to(f"../../../devices/pci0000:00/{XHCI}/dwc3.1.auto/xhci-hcd.2.auto/usb7")
        assert by_address(Machine(root=root))[XHCI].buses == [1, 2, 7]


@needs_umockdev
def test_a_class_that_cannot_be_read_leaves_no_list() -> None:
    """It could be one controller more, and a list is complete or absent."""
    with laid_out("gable.umockdev") as root:
        seen = controllers.collect(Eventful(root=root, happens={"0000:00:14.2/class": refusing(errno.EACCES)}))
    assert "controllers" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("controllers", "denied")]


@needs_umockdev
def test_a_function_that_is_removed_while_it_is_read() -> None:
    """It does not show, and leaves no gap."""
    with laid_out("gable.umockdev", "given.umockdev") as root:
        function = os.path.realpath(f"{root}/sys/bus/pci/devices/{XHCI}")
        pull = {f"{XHCI}/vendor": lambda: shutil.rmtree(function, ignore_errors=True)}
        seen = controllers.collect(Eventful(root=root, happens=pull))
    assert [controller.address for controller in seen.facts["controllers"]] == ["0000:00:1d.0"]
    assert seen.gaps == ()


@needs_umockdev
def test_a_garbled_id_is_absent() -> None:
    """What the kernel could not have printed is not taken for a value."""
    with laid_out("gable.umockdev") as root:
        Path(f"{root}/sys/bus/pci/devices/{XHCI}/vendor").write_text("0x1b3\x1b[31m\n")
        seen = controllers.collect(Machine(root=root))
    assert seen.facts["controllers"][0].vid is UNSET
    assert [(gap.what, gap.why) for gap in seen.gaps if gap.what.endswith("vid")] == [
        (f"controllers[{XHCI}].vid", "malformed")
    ]


@needs_umockdev
def test_a_machine_without_pci_has_no_controllers() -> None:
    """/sys is there but has no PCI bus: the list is complete and empty."""
    with laid_out("platform.umockdev") as root:
        seen = controllers.collect(Machine(root=root))
    assert (dict(seen.facts), seen.gaps) == ({"controllers": [], "pci_functions": []}, ())


def test_without_sys_nobody_could_look(tmp_path: Path) -> None:
    """No /sys: the field is absent and a gap says why."""
    seen = controllers.collect(Machine(root=str(tmp_path)))
    assert "controllers" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("controllers", "not-here")]
