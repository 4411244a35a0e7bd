"""Attributes of sysfs, printed by grep 3.8, head and cat (coreutils 9.1) under testbeds."""

from __future__ import annotations

from typing import Any

import pytest

from tests.sources.umock import needs_umockdev, seen_under

from .said import printed, said, typed, values

ATTRIBUTES = {
    "idVendor": "vid", "idProduct": "pid", "bcdDevice": "bcd", "serial": "serial", "product": "product",
    "manufacturer": "manufacturer", "busnum": "bus", "devnum": "devnum", "bConfigurationValue": "configuration",
    "maxchild": "ports", "authorized": "authorized", "speed": "speed", "devpath": "path", "bMaxPower": "max_power_ma",
    "power/control": "power_control", "power/runtime_status": "runtime_status", "removable": "removable",
    "power/autosuspend_delay_ms": "autosuspend_ms", "bDeviceClass": "device_class",
}  # fmt: skip


def devices(text: str) -> dict[str, dict[str, Any]]:
    """All that was said of each device."""
    found: dict[str, dict[str, Any]] = {}
    for value in values("sysfs", text, "device"):
        found.setdefault(value["name"], {}).update(value)
    return found


@needs_umockdev
@pytest.mark.parametrize(
    "command",
    [
        "grep -H '' /sys/bus/usb/devices/*/$f",
        "grep -rs '' /sys/bus/usb/devices/*/$f /dev/null",
        "head -v /sys/bus/usb/devices/*/$f",
    ],
)
def test_programs_that_name_the_file(command: str) -> None:
    """Every attribute that the evidence has is the one that the USB source collects."""
    script = f"for f in {' '.join(ATTRIBUTES)}; do {command}; done 2>/dev/null"
    found = devices(printed("gable", "sh", "-c", script))
    seen = seen_under("usb", "gable.umockdev").usb
    assert isinstance(seen, list)
    assert {one.name for one in seen} <= set(found)
    for one in seen:
        told = {name: getattr(one, name) for name in ATTRIBUTES.values()}
        mine = {name: found[one.name].get(name) for name in ATTRIBUTES.values()}
        assert {name: value for name, value in mine.items() if value is not None} == {
            name: told[name] for name, value in mine.items() if value is not None
        }
        assert {"vid", "devnum", "authorized", "speed"} <= set(found[one.name])


def test_an_empty_configuration_is_none() -> None:
    """The kernel prints nothing at all for a device without configuration (drivers/usb/core/sysfs.c)."""
    command = "cat /sys/bus/usb/devices/3-1/bConfigurationValue"
    assert devices(typed(command, "") + typed("lsusb", "")) == {"3-1": {"name": "3-1", "configuration": None}}
    assert devices(typed(command, "")) == {}  # the paste may end too early
    assert devices(typed(command, "1\n"))["3-1"]["configuration"] == 1
    assert devices("/sys/bus/usb/devices/3-1/bConfigurationValue:\n")["3-1"]["configuration"] is None


def test_what_prints_nothing_does_not_shift_the_others() -> None:
    """Two files and one value: nobody knows whose it is."""
    command = "cat /sys/bus/usb/devices/3-1/bConfigurationValue /sys/bus/usb/devices/3-1/authorized"
    assert devices(typed(command, "1\n") + typed("lsusb", "")) == {}
    assert devices(typed(command, "1\n0\n") + typed("lsusb", ""))["3-1"] == {
        "name": "3-1",
        "configuration": 1,
        "authorized": False,
    }


@needs_umockdev
def test_cat_prints_values_in_the_order_of_the_files() -> None:
    """The command says which."""
    files = "/sys/bus/usb/devices/1-2.3/idVendor /sys/bus/usb/devices/1-2.3/serial /sys/bus/usb/devices/1-2.3/speed"
    text = typed(f"cat {files}", printed("gable", "cat", *files.split()))
    assert devices(text) == {"1-2.3": {"name": "1-2.3", "vid": "1209", "serial": "A1B2C3", "speed": 12.0}}


@pytest.mark.parametrize(
    "text",
    [
        typed("cat /sys/bus/usb/devices/*/idVendor", "1209\n"),
        typed("cat /sys/bus/usb/devices/1-2/idVendor", "cat: /sys/bus/usb/devices/1-2/idVendor: No such file\n1209\n"),
        "/sys/bus/usb/devices/1-2/idVendor:12",
        "/sys/bus/usb/devices/1-2/speed:fast",
        "/sys/bus/usb/devices/1-2/authorized:2",
        "/sys/bus/usb/devices/1-2/",
        "1209",
    ],
)  # fmt: skip
def test_what_does_not_fit_is_no_value(text: str) -> None:
    """A star leaves open which, an error takes a value's place, half a number is none."""
    assert said("sysfs", text) == []


@pytest.mark.parametrize("sign", [":", " = ", "="])
def test_interfaces_and_long_paths(sign: str) -> None:
    """By their place in the tree of devices, with the signs that people's loops print."""
    text = f"/sys/devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/bInterfaceClass{sign}ff\n"
    text += f"/sys/devices/pci0000:00/0000:00:14.0/usb1/1-2/authorized{sign}0\n"
    found = values("sysfs", text, "device")
    assert found == [
        {"name": "1-2", "interfaces": [{"name": "1-2:1.0", "number": 0, "class_": 255}]},
        {"name": "1-2", "authorized": False},
    ]
