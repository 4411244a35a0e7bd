"""`udevadm info` of systemd 252, run under testbeds."""

from __future__ import annotations

from typing import Any

import pytest

from radiocheck.evidence.serial import Link
from tests.sources.umock import needs_umockdev, seen_under

from .said import printed, said, typed, values

BY_ID = "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3-if00-port0"


def merged(values_: list[dict[str, Any]], name: str) -> dict[str, Any]:
    """All that was said of one device."""
    found: dict[str, Any] = {}
    for value in values_:
        if value["name"] == name:
            found |= value
    return found


@needs_umockdev
@pytest.mark.parametrize(
    "argv", [["/dev/ttyUSB0"], ["-q", "all", "-n", "ttyUSB0"], ["-q", "property", "/dev/ttyUSB0"], ["--export-db"]]
)
def test_the_database(argv: list[str]) -> None:
    """Properties, interface and names of the tty are those of the serial source; with and without letters."""
    text = typed("udevadm info", printed("gable", "udevadm", "info", *argv))
    seen = seen_under("serial", "gable.umockdev")
    assert isinstance(seen.ttys, list)
    (expected,) = [tty for tty in seen.ttys if tty.name == "ttyUSB0"]
    (tty,) = values("udev", text, "tty")
    assert tty["interface"] == expected.interface == "1-2.3:1.0"
    assert isinstance(expected.udev, dict)
    assert all(tty["udev"].get(key) == value for key, value in expected.udev.items() if key != "DEVLINKS")
    assert set(map(str, values("udev", text, "link"))) >= {str(Link(path=BY_ID, target="ttyUSB0"))}
    device = merged(values("udev", text, "device"), "1-2.3")
    assert (device["vid"], device["pid"], device["serial"]) == ("1209", "7a01", "A1B2C3")
    assert device["interfaces"] == [{"name": "1-2.3:1.0", "number": 0, "driver": "cp210x"}]


@needs_umockdev
@pytest.mark.parametrize(
    ("bed", "tty", "place"),
    [
        ("gable", "ttyUSB0", "1-2.3"),
        ("captured-linux-6.1", "ttyACM0", "9-1"),
        ("captured-linux-6.1", "ttyUSB1", "3-2.1"),
    ],
)
def test_the_walk(bed: str, tty: str, place: str) -> None:
    """Attributes of every device on the way, and the interface's driver, are those of the USB source."""
    text = printed(bed, "udevadm", "info", "-a", "-p", f"/sys/class/tty/{tty}")
    seen = seen_under("usb", f"{bed}.umockdev").usb
    assert isinstance(seen, list)
    devices = {one.name: one for one in seen}
    found = values("udev", text, "device")
    for name in {value["name"] for value in found}:
        for value in found:
            if value["name"] == name:
                for field, item in value.items():
                    if field != "interfaces" and field != "removable":
                        told = getattr(devices[name], field)
                        assert told == item or str(told) == item, (name, field)
    entry = next(value["interfaces"][0] for value in found if value["name"] == place and "interfaces" in value)
    expected = devices[place].interfaces
    assert isinstance(expected, list)
    assert (entry["name"], entry["driver"]) in [(one.name, one.driver) for one in expected]
    assert {"name": tty, "interface": entry["name"]} in values("udev", text, "tty")


@needs_umockdev
def test_the_walk_of_a_device_without_a_serial_number() -> None:
    """All attributes are printed: what is not there is not there."""
    text = printed("refused", "udevadm", "info", "-a", "-p", "/sys/bus/usb/devices/3-2")
    device = merged(values("udev", text, "device"), "3-2")
    assert (device["vid"], device["serial"]) == ("1209", None)


def test_a_serial_number_that_was_cut_off_is_not_none() -> None:
    """A part of the walk says nothing of what it lacks."""
    text = "  looking at parent device '/devices/x/usb1/1-2':\n"
    text += '    ATTRS{idVendor}=="1209"\n    ATTRS{idProduct}=="7a01"\n'
    (device,) = values("udev", text, "device")
    assert device == {"name": "1-2", "vid": "1209", "pid": "7a01"}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "E: ID_VENDOR_ID=1209\nE: ID_MODEL_ID=7a01",
        "MAJOR=188\nMINOR=0\nDEVNAME=ttyUSB0\n",
        "DRIVER=cp210x\nPRODUCT=1209/7a01/100\n",
        "P: something\nE: nothing",
        "ACTION=add\nDEVPATH=/devices/x/usb1/1-2/1-2:1.0/ttyUSB0/tty/ttyUSB0\nDEVNAME=/dev/ttyUSB0\nSUBSYSTEM=tty\n",
        "P:  Vendor=1209 ProdID=7a01 Rev= 1.00\nS:  Product=Mesh stick\nE:  Ad=81(I) Atr=03",
    ],
)
def test_a_part_of_an_entry_says_nothing(text: str) -> None:
    """Without its path nobody knows of what; a uevent file has no properties; an event may be past."""
    assert said("udev", text) == []


@pytest.mark.parametrize(
    "command",
    [
        "udevadm info -q property -n /dev/ttyUSB1 | grep SERIAL",
        "sudo udevadm info --query=property --name=/dev/ttyUSB1 | grep -i serial",
        "udevadm info -n ttyUSB1 -q property|grep ID_",
        "udevadm info /dev/ttyUSB1 --query property | egrep 'SERIAL|VENDOR'",
    ],
)
def test_properties_that_were_picked_out(command: str) -> None:
    """The command names the tty; udev's other properties are not known to be absent."""
    text = typed(command, "ID_SERIAL=Lindenhof_Mesh_stick_0001\nID_SERIAL_SHORT=0001\n")
    assert values("udev", text, "tty") == [{"name": "ttyUSB1", "id_serial": "Lindenhof_Mesh_stick_0001"}]
    assert values("udev", text, "device") == []
    text = typed(command, "ID_VENDOR_ID=1209\nID_MODEL_ID=7a01\nID_SERIAL_SHORT=0001\n")
    (device,) = values("udev", text, "device")
    assert device == {
        "vid": "1209",
        "pid": "7a01",
        "serial": "0001",
        "interfaces": [{"number": 0, "ttys": ["ttyUSB1"]}],
    }


@pytest.mark.parametrize(
    "text",
    [
        "ID_SERIAL=Lindenhof_Mesh_stick_0001\nID_SERIAL_SHORT=0001\n",
        typed(
            "udevadm info -q property -p /sys/class/tty/ttyUSB1/device | grep ID", "ID_SERIAL=x\nID_SERIAL_SHORT=y\n"
        ),
        typed("udevadm info -n /dev/ttyUSB1 | grep ID", "DEVNAME=/dev/ttyUSB2\nID_SERIAL=x\n"),
        typed("udevadm info -n /dev/ttyUSB1 | grep ID", "\nID_SERIAL=x\n"),
        typed("cat reader.conf", "ID_SERIAL=x\nID_SERIAL_SHORT=y\n"),
    ],
)
def test_properties_of_nobody(text: str) -> None:
    """No command, one that names no node, another node's, or behind an empty line."""
    assert values("udev", text, "tty") == []
