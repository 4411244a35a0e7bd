"""Which name under /dev/serial/by-id is an adapter's, by what it says of itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from radiocheck.chain.adapters import has_by_id
from radiocheck.chain.held import device_ttys
from radiocheck.evidence.absent import known
from radiocheck.evidence.store import load

from . import machines as m

FIXTURES = sorted((Path(__file__).parent.parent.parent / "fixtures").glob("*/evidence.json"))


def test_names_that_udev_made() -> None:
    """On every captured machine the by-id name of a device with all three strings is known for its own."""
    checked = 0
    for file in FIXTURES:
        evidence = load(file.read_bytes(), file.parent.name)
        links = [one for one in evidence.links if "/by-id/" in one.path] if known(evidence.links) else []
        for device in evidence.usb if known(evidence.usb) else []:
            own = [link for link in links if link.target in device_ttys(device)]
            strings = [device.manufacturer, device.product, device.serial]
            # Where a string could not be read udev fell back to the IDs; then the name is not told by the strings.
            if (
                own
                and all(isinstance(one, str) and one for one in strings)
                and file.parent.name != "name-fell-back-to-ids"
            ):
                assert all(has_by_id(device, link.path) for link in own), file.parent.name
                checked += 1
    assert checked > 10


@pytest.mark.parametrize(
    ("strings", "name"),
    [
        (("Lindenhof", "Mesh stick", "A1B2C3"), "usb-Lindenhof_Mesh_stick_A1B2C3-if00"),
        (("Lindenhof  Works ", "Mesh/stick", "A1"), "usb-Lindenhof_Works_Mesh_stick_A1-if00-port0"),
        (("Lindenhof", "Mesh stick", "A+#:=@.1"), "usb-Lindenhof_Mesh_stick_A+#:=@.1-if02"),
    ],
)
def test_signs_of_a_name(strings: tuple[str, str, str], name: str) -> None:
    """Blanks run together to one underscore, signs that udev does not keep become one (udev-builtin-usb_id.c)."""
    maker, product, serial = strings
    device = m.stick(manufacturer=maker, product=product, serial=serial)
    assert has_by_id(device, f"/dev/serial/by-id/{name}")


@pytest.mark.parametrize(
    "path",
    [
        "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3D4-if00",
        "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_D4E5F6-if00",
        "/dev/serial/by-path/usb-Lindenhof_Mesh_stick_A1B2C3-if00",
        "/dev/ttyUSB0",
        "",
    ],
)
def test_other_names(path: str) -> None:
    """Another serial number, one that only begins alike, another folder."""
    assert not has_by_id(m.stick(), path)


def test_without_a_serial_number() -> None:
    """Such a name is shared by all of its kind, so it ties a line to none."""
    assert not has_by_id(m.stick(serial=None), "/dev/serial/by-id/usb-Lindenhof_Mesh_stick-if00")
