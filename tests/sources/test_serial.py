"""Ttys of USB devices and their udev properties, under umockdev."""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec import field

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Link, Tty
from radiocheck.sources import serial
from radiocheck.sources.machine import Machine, Seen

from .umock import BEDS, laid_out, needs_umockdev, python_under, seen_under

BED = "names.umockdev"
STICK = "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3D4-if00-port0"


class Eventful(Machine, frozen=True):
    """A machine on which something happens just before a file whose path ends so is read."""

    happens: dict[str, Callable[[], None]] = field(default_factory=dict)

    def read_bytes(self, path: str) -> bytes:
        for end, event in self.happens.items():
            if path.endswith(end):
                event()
        return super().read_bytes(path)


@pytest.fixture
def root() -> Iterator[str]:
    """A folder with the testbed's /sys and /dev, and no udev database."""
    with laid_out(BED) as folder:
        yield folder


def ttys(seen: Seen | Evidence) -> dict[str, Tty]:
    every: Any = seen.facts["ttys"] if isinstance(seen, Seen) else seen.ttys
    return {tty.name: tty for tty in every}


def links(seen: Seen | Evidence) -> dict[str, Link]:
    every: Any = seen.facts["links"] if isinstance(seen, Seen) else seen.links
    return {link.path: link for link in every}


def write(root: str, path: str, text: str) -> None:
    file = Path(root + path)
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text)


@needs_umockdev
def test_only_ttys_of_usb_devices_are_listed_in_natural_order() -> None:
    """USB ttys with interface, port number and node; the platform's ttyS0 and the console are none."""
    seen = seen_under("serial", BED)
    assert list(ttys(seen)) == ["ttyACM0", "ttyUSB0", "ttyUSB1", "ttyUSB10"]
    stick = ttys(seen)["ttyUSB0"]
    assert stick.interface == "1-1:1.0"
    assert stick.port_number == 0
    assert stick.node
    assert (stick.node.path, stick.node.major, stick.node.minor) == ("/dev/ttyUSB0", 188, 0)
    assert stick.node.owner == "root"
    assert stick.node.acl is None
    assert ttys(seen)["ttyACM0"].port_number is None  # cdc_acm has no usb-serial parent, Linux cdc-acm.c
    assert ttys(seen)["ttyACM0"].interface == "1-4:1.0"
    assert seen.gaps == []


@needs_umockdev
def test_the_active_kernel_console_is_marked() -> None:
    """`active` holds the names of the active consoles (Linux Documentation/ABI/testing/sysfs-tty)."""
    found = ttys(seen_under("serial", BED))
    assert {name: tty.console for name, tty in found.items() if tty.console} == {"ttyUSB1": True}
    assert found["ttyUSB10"].console is False


@needs_umockdev
def test_udev_properties_are_kept_as_udev_has_them_and_no_others() -> None:
    """Names by udev, braille and GPS marks stay; MAJOR, SUBSYSTEM and the like do not."""
    udev = ttys(seen_under("serial", BED))["ttyUSB0"].udev
    assert udev is not UNSET
    assert udev["ID_SERIAL_SHORT"] == "A1B2C3D4"
    assert udev["SYSTEMD_WANTS"] == "gpsdctl@ttyUSB0.service"
    assert udev["BRLTTY_BRAILLE_DRIVER"] == "xx"
    assert "/dev/gps0" in udev["DEVLINKS"].split()
    assert not {"MAJOR", "MINOR", "SUBSYSTEM", "DEVPATH"} & udev.keys()


@needs_umockdev
def test_the_ttys_are_those_that_pyserial_lists() -> None:
    """Reference: serial.tools.list_ports, which finds USB ports in its own way."""
    pytest.importorskip("serial")
    out = python_under(
        BED,
        code="from serial.tools.list_ports import comports\n"
        "for port in comports(): print(port.name, port.location) if port.location else None",
    )
    listed = {line.split()[0]: line.split()[1] for line in out.splitlines()}
    seen = ttys(seen_under("serial", BED))
    assert listed.keys() == seen.keys()
    assert {name: str(tty.interface).split(":")[0] for name, tty in seen.items()} == listed


@needs_umockdev
def test_without_a_udev_database_properties_and_claimants_are_absent(root: str) -> None:
    """As in a container: names on disk stay, who wants them is not known, and a gap says so."""
    seen = serial.collect(Machine(root=root))
    assert ttys(seen)["ttyUSB0"].udev is UNSET
    assert links(seen)[STICK].target == "ttyUSB0"
    assert links(seen)[STICK].claimants is UNSET
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("ttys.udev", "not-here")]


@needs_umockdev
def test_what_the_kernel_alone_says_is_not_taken_for_udev_s_word(tmp_path: Path) -> None:
    """A tty that no udev has worked on: absent without a database, next to empty with one."""
    bed = tmp_path / "raw.umockdev"
    bed.write_text(
        re.sub(r"^E: (ID_|BRLTTY_|DEVLINKS|TAGS|SYSTEMD_WANTS).*\n", "", (BEDS / BED).read_text(), flags=re.M)
    )
    seen = seen_under("serial", bed)
    if os.path.exists(serial.DATABASE):  # of the machine that runs this test; umockdev does not hide it
        assert ttys(seen)["ttyUSB0"].udev == {"DEVNAME": "/dev/ttyUSB0"}
    else:
        assert ttys(seen)["ttyUSB0"].udev is UNSET
        assert [(gap.what, gap.why) for gap in seen.gaps] == [("ttys.udev", "not-here")]


@needs_umockdev
def test_without_libudev_the_ttys_stay_and_a_gap_says_what_is_missing() -> None:
    """An import that fails costs the udev properties, nothing else."""
    code = (
        "import sys; sys.modules['pyudev'] = None\n"
        "import msgspec\n"
        "from radiocheck.sources import serial\n"
        "from radiocheck.sources.machine import Machine\n"
        "seen = serial.collect(Machine())\n"
        "print(msgspec.json.encode([seen.facts['ttys'], seen.gaps]).decode())\n"
    )
    found, gaps = msgspec.json.decode(python_under(BED, code=code))
    assert [tty["name"] for tty in found] == ["ttyACM0", "ttyUSB0", "ttyUSB1", "ttyUSB10"]
    assert all("udev" not in tty for tty in found)
    assert [(gap["what"], gap["why"]) for gap in gaps] == [("ttys.udev", "no-tool")]


@needs_umockdev
def test_a_tty_that_leaves_while_it_is_read_is_not_listed(root: str) -> None:
    """Hot removal between listing and reading: no record, no gap, the others stay."""

    def unplug() -> None:
        os.unlink(f"{root}/sys/class/tty/ttyUSB0")
        os.unlink(f"{root}/dev/ttyUSB0")

    machine = Eventful(root=root, happens={"ttyUSB0/device/port_number": unplug})
    seen = serial.collect(machine)
    assert list(ttys(seen)) == ["ttyACM0", "ttyUSB1", "ttyUSB10"]
    assert links(seen)[STICK].target is None  # the name still dangles
    assert all("ttyUSB0" not in gap.what for gap in seen.gaps)


@needs_umockdev
def test_what_a_tty_does_not_let_us_read_is_absent_with_a_gap(root: str) -> None:
    """A refused port number, and one that is no number: the field is absent, the tty stays."""

    def refuse() -> None:
        raise OSError(errno.EACCES, "Permission denied")

    usb_serial = "/sys/devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0/ttyUSB1"
    write(root, f"{usb_serial}/port_number", "\x1b[31mnone\n")
    seen = serial.collect(Eventful(root=root, happens={"ttyUSB0/device/port_number": refuse}))
    assert ttys(seen)["ttyUSB0"].port_number is UNSET
    assert ttys(seen)["ttyUSB1"].port_number is UNSET
    gaps = {gap.what: gap for gap in seen.gaps}
    assert gaps["ttys[ttyUSB0].port_number"].why == "denied"
    assert gaps["ttys[ttyUSB0].port_number"].provide == "run as root"
    assert gaps["ttys[ttyUSB1].port_number"].why == "malformed"


@needs_umockdev
def test_a_plain_file_in_the_place_of_the_node_is_no_node(root: str) -> None:
    """What `echo x > /dev/ttyUSB0` leaves behind while the adapter is away is told from a node."""
    os.unlink(f"{root}/dev/ttyUSB0")
    write(root, "/dev/ttyUSB0", "x")
    seen = serial.collect(Machine(root=root))
    assert ttys(seen)["ttyUSB0"].node is None
    assert ("ttys[ttyUSB0].node", "malformed") in [(gap.what, gap.why) for gap in seen.gaps]


def test_a_machine_without_ttys_in_sysfs_leaves_a_gap(tmp_path: Path) -> None:
    """No /sys: could not look; an empty class folder: looked, none there."""
    seen = serial.collect(Machine(root=str(tmp_path)))
    assert "ttys" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("ttys", "not-here")]
    (tmp_path / "sys/class/tty").mkdir(parents=True)
    assert serial.collect(Machine(root=str(tmp_path))) == Seen({"ttys": [], "links": []})
