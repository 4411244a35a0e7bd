"""`usb-devices`: usbutils 014 run under testbeds, 013 and 018 recorded there; the kernel's own list from its format."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET

from tests.sources.umock import needs_umockdev, seen_under

from .said import by_name, printed, said, sample, typed, values

GABLE = sample("usb-devices_usbutils-018_gable")
REFUSED = sample("usb-devices_usbutils-018_refused")
FIELDS = ("bus", "devnum", "path", "parent", "vid", "pid", "manufacturer", "product", "serial", "speed", "device_class",
          "configuration", "self_powered", "max_power_ma")  # fmt: skip


def devices(text: str) -> dict[str, dict[str, Any]]:
    """Devices by name."""
    return by_name(values("usb_devices", text, "device"))


@needs_umockdev
@pytest.mark.parametrize("bed", ["gable", "platform"])
def test_the_script_prints_what_sysfs_has(bed: str) -> None:
    """usbutils 014: every field that it prints is the one that the USB source collects, interfaces too."""
    found = devices(printed(bed, "usb-devices"))
    seen = seen_under("usb", f"{bed}.umockdev").usb
    assert isinstance(seen, list)
    assert set(found) == {device.name for device in seen}
    for device in seen:
        one = found[device.name]
        for field in FIELDS:
            value = getattr(device, field)
            assert one.get(field) == value or value is UNSET, (device.name, field)
        assert isinstance(device.interfaces, list)
        told = [(entry["name"], entry["class_"], entry["driver"]) for entry in one["interfaces"]]
        assert told == [(entry.name, entry.class_, entry.driver) for entry in device.interfaces]


@pytest.mark.parametrize("version", ["013", "018"])
def test_every_version_is_read(version: str) -> None:
    """013 writes `If#=0x0`, later ones `If#= 0`."""
    stick = devices(sample(f"usb-devices_usbutils-{version}_gable"))["1-2.3"]
    assert (stick["devnum"], stick["serial"], stick["speed"]) == (5, "A1B2C3", 12)
    assert [entry["driver"] for entry in stick["interfaces"]] == ["cp210x"]


@needs_umockdev
@pytest.mark.parametrize("text", ["014", sample("usb-devices_usbutils-013_refused"), REFUSED])
def test_an_unconfigured_device_has_no_interfaces(text: str) -> None:
    """The script prints an interface even where there is none, with what it had in its variables (seen)."""
    found = devices(printed("refused", "usb-devices") if text == "014" else text)
    assert (found["3-1"]["configuration"], found["3-1"]["interfaces"]) == (None, [])
    assert found["3-1"]["max_power_ma"] is None
    assert (found["3-2"]["devnum"], found["3-2"]["serial"]) == (6, None)


def test_no_driver_is_said_so() -> None:
    """`Driver=(none)`: nobody has the interface."""
    found = devices(GABLE.replace("Driver=cp210x", "Driver=(none)"))
    assert found["1-2.3"]["interfaces"][0]["driver"] is None


def block(level: int, parent: int, port: int, number: int) -> str:
    """The first line of a device."""
    return f"T:  Bus=01 Lev={level:02} Prnt={parent:02} Port={port:02} Cnt=01 Dev#={number:>3} Spd=12  MxCh= 0\n\n"


def test_a_neighbour_printed_as_the_hub_does_not_mislead() -> None:
    """The script forgets the hub's number when it comes back from a device behind it (usbutils 014 and 018, seen)."""
    text = block(0, 0, 0, 1) + block(1, 1, 1, 2) + block(2, 2, 0, 3) + block(2, 3, 2, 4)
    assert [one["name"] for one in values("usb_devices", text, "device")] == ["usb1", "1-2", "1-2.1", "1-2.3"]


def test_without_its_hub_a_device_has_no_name() -> None:
    """A block that stands alone, or below another hub."""
    alone = values("usb_devices", block(2, 2, 0, 3), "device")
    other = values("usb_devices", block(0, 0, 0, 1) + block(1, 1, 1, 9) + block(2, 2, 0, 3), "device")
    assert "name" not in alone[0]
    assert "name" not in other[-1]


KERNEL = """
T:  Bus=01 Lev=00 Prnt=00 Port=00 Cnt=00 Dev#=  1 Spd=480  MxCh= 4
B:  Alloc=  0/800 us ( 0%), #Int=  0, #Iso=  0
D:  Ver= 2.00 Cls=09(hub  ) Sub=00 Prot=01 MxPS=64 #Cfgs=  1
P:  Vendor=1d6b ProdID=0002 Rev= 6.01
C:* #Ifs= 1 Cfg#= 1 Atr=e0 MxPwr=  0mA
I:* If#= 0 Alt= 0 #EPs= 1 Cls=09(hub  ) Sub=00 Prot=00 Driver=hub
E:  Ad=81(I) Atr=03(Int.) MxPS=   4 Ivl=256ms

T:  Bus=01 Lev=01 Prnt=01 Port=01 Cnt=01 Dev#=  3 Spd=12   MxCh= 0
D:  Ver= 2.00 Cls=02(comm.) Sub=00 Prot=00 MxPS=64 #Cfgs=  1
P:  Vendor=1209 ProdID=7a01 Rev= 1.00
S:  Product=Mesh stick
C:* #Ifs= 2 Cfg#= 1 Atr=80 MxPwr=100mA
A:  FirstIf#= 0 IfCount= 2 Cls=02(comm.) Sub=02 Prot=01
I:* If#= 0 Alt= 0 #EPs= 1 Cls=02(comm.) Sub=02 Prot=01 Driver=cdc_acm
E:  Ad=82(I) Atr=03(Int.) MxPS=  16 Ivl=2ms
I:* If#= 1 Alt= 0 #EPs= 2 Cls=0a(data ) Sub=00 Prot=00 Driver=cdc_acm
"""


def test_the_kernels_own_list() -> None:
    """Linux, Documentation/driver-api/usb/usb.rst, output format of /sys/kernel/debug/usb/devices."""
    found = devices(KERNEL)
    assert [entry["driver"] for entry in found["1-2"]["interfaces"]] == ["cdc_acm", "cdc_acm"]
    assert found["usb1"]["interfaces"][0]["name"] == "1-0:1.0"


@pytest.mark.parametrize("command", ["usb-devices", "sudo usb-devices", "cat /sys/kernel/debug/usb/devices"])
def test_behind_its_command_the_list_is_whole(command: str) -> None:
    """The script and the kernel leave no device out, unconfigured ones neither."""
    assert values("usb_devices", typed(command, KERNEL), "whole") == ["usb"]


@pytest.mark.parametrize(
    "text",
    [KERNEL, typed("usb-devices | grep -A8 1209", KERNEL), typed("usb-devices", KERNEL.partition("\n\n")[2]),
     typed("usb-devices", KERNEL.replace("\n\n", "\n[...]\n"))],
)  # fmt: skip
def test_a_part_is_no_whole(text: str) -> None:
    """Without the command, behind a filter, without a root hub, with lines left out."""
    assert values("usb_devices", text, "whole") == []


def test_a_block_that_was_cut_tells_no_absence() -> None:
    """Interfaces count only when all are there; without the lines around it a missing serial number says nothing."""
    (found,) = values("usb_devices", "\n".join(KERNEL.partition("\n\n")[2].splitlines()[:4]), "device")
    assert "serial" not in found
    (found,) = values("usb_devices", "\n".join(KERNEL.partition("\n\n")[2].splitlines()[:7]), "device")
    assert "interfaces" not in found
    assert found["serial"] is None
    assert said("usb_devices", "P:  Vendor=1209 ProdID=7a01 Rev= 1.00") == []
