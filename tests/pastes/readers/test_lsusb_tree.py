"""`lsusb -t`: usbutils 014 run under testbeds, 013 and 018 recorded there."""

from __future__ import annotations

from typing import Any

import pytest

from radiocheck.evidence.usb import UsbDevice
from tests.sources.umock import needs_umockdev, seen_under

from .said import by_name, printed, said, sample, values

GABLE = sample("lsusb-t_usbutils-018_gable")


def devices(text: str) -> dict[str, dict[str, Any]]:
    """Devices by name."""
    return by_name(values("lsusb_tree", text, "device"))


def agree(found: dict[str, dict[str, Any]], seen: list[UsbDevice]) -> None:
    """Places, numbers, speeds, drivers and classes are those that the USB source collects."""
    for device in seen:
        one = found[device.name]
        assert (one["bus"], one["devnum"], one["speed"]) == (device.bus, device.devnum, device.speed)
        assert one["parent"] == device.parent
        assert one["path"] == device.path
        if device.path == "0":
            continue  # the tree shows a root hub as one, without its interface
        interfaces = {entry["name"]: (entry["driver"], entry["class_"]) for entry in one["interfaces"]}
        assert isinstance(device.interfaces, list)
        assert interfaces == {entry.name: (entry.driver, entry.class_) for entry in device.interfaces}


@needs_umockdev
@pytest.mark.parametrize("bed", ["gable", "platform", "captured-linux-6.1"])
def test_the_program_draws_what_sysfs_has(bed: str) -> None:
    """usbutils 014: every device, with path, driver, class and speed of each interface."""
    seen = seen_under("usb", f"{bed}.umockdev").usb
    assert isinstance(seen, list)
    found = devices(printed(bed, "lsusb", "-t"))
    agree(found, seen)
    assert set(found) == {device.name for device in seen}


@needs_umockdev
@pytest.mark.parametrize("version", ["013", "018"])
@pytest.mark.parametrize("bed", ["gable", "captured-linux-6.1"])
def test_other_versions_draw_the_same(version: str, bed: str) -> None:
    """From usbutils 016 on numbers have three digits and buses come in order."""
    seen = seen_under("usb", f"{bed}.umockdev").usb
    assert isinstance(seen, list)
    agree(devices(sample(f"lsusb-t_usbutils-{version}_{bed}")), seen)


@pytest.mark.parametrize("version", ["013", "018"])
def test_ids_of_the_verbose_tree(version: str) -> None:
    """-v puts a line of IDs below each device."""
    found = devices(sample(f"lsusb-tv_usbutils-{version}_gable"))
    assert (found["1-2.3"]["vid"], found["1-2.3"]["pid"]) == ("1209", "7a01")
    assert found["usb2"]["pid"] == "0003"


def test_a_device_without_interfaces() -> None:
    """usbutils 018 draws it without class and driver, 013 and 014 not at all: a tree is no complete list."""
    found = devices(sample("lsusb-t_usbutils-018_refused"))
    assert (found["3-1"]["devnum"], found["3-1"]["interfaces"]) == (4, [])
    assert set(devices(sample("lsusb-t_usbutils-013_refused"))) == {"usb3"}
    assert not values("lsusb_tree", sample("lsusb-t_usbutils-018_gable"), "whole")


@pytest.mark.parametrize("driver", ["", "[none]", "(none)"])
def test_an_interface_without_a_driver(driver: str) -> None:
    """Printed as `[none]` since usbutils 017, as nothing before."""
    text = GABLE.replace("Driver=cp210x", f"Driver={driver}")
    assert devices(text)["1-2.3"]["interfaces"][0]["driver"] is None


def test_who_has_it_through_usbfs() -> None:
    """A hypervisor that holds the device shows as usbfs."""
    text = GABLE.replace("Driver=cp210x", "Driver=usbfs")
    assert devices(text)["1-2.3"]["interfaces"][0]["driver"] == "usbfs"


def test_lost_indentation_loses_the_place_only() -> None:
    """Without the blanks nobody knows at which hub a port is; bus, number and driver stay."""
    found = values("lsusb_tree", "\n".join(row.strip() for row in GABLE.splitlines()), "device")
    stick = next(one for one in found if (one["bus"], one["devnum"]) == (1, 5))
    assert "name" not in stick
    assert stick["interfaces"] == [{"number": 0, "class_": 255, "driver": "cp210x"}]


def test_an_even_margin_keeps_the_place() -> None:
    """A tree that stands in a list of line numbers, or behind bars."""
    text = "\n".join(f"{number:>4}  {row}" for number, row in enumerate(GABLE.splitlines(), 1))
    assert devices(text)["1-2.3"]["devnum"] == 5


def test_a_line_that_was_cut_tells_no_driver() -> None:
    """Of a device with one line cut its interfaces are not all known."""
    platform = (
        "/:  Bus 05.Port 1: Dev 1, Class=root_hub, Driver=dummy_hcd/1p, 480M\n"
        "    |__ Port 1: Dev 2, If 0, Class=Communications, Driver=cdc_acm, 480M\n"
        "    |__ Port 1: Dev 2, If 1, Class=CDC Data, Driver=cdc_\n"
    )
    found = devices(platform)
    assert found["5-1"]["devnum"] == 2
    assert "interfaces" not in found["5-1"]


def test_without_the_root_line_the_bus_is_not_known() -> None:
    """Ports below a line that is missing are nobody's."""
    assert said("lsusb_tree", GABLE.partition("\n")[2].partition("/:")[0]) == []


def test_two_trees_are_two_moments() -> None:
    """The same again, after a replug: both are told, in their order."""
    later = GABLE.replace("Dev 005", "Dev 006")
    found = [one["devnum"] for one in values("lsusb_tree", GABLE + "\nnow:\n" + later, "device") if one["speed"] == 12]
    assert found == [5, 6]


def test_old_words_for_classes() -> None:
    """usbutils before 007 had short words (from memory)."""
    text = "/:  Bus 02.Port 1: Dev 1, Class=root_hub, Driver=ehci_hcd/2p, 480M\n"
    text += "    |__ Port 1: Dev 2, If 0, Class=vend., Driver=ftdi_sio, 12M\n"
    assert devices(text)["2-1"]["interfaces"][0]["class_"] == 0xFF
