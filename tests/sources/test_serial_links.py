"""Names under /dev/serial and who wants them, under umockdev and against udev itself."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Link, Tty
from radiocheck.sources import serial
from radiocheck.sources.machine import Machine, Seen

from .isolated import isolated
from .umock import BEDS, laid_out, needs_umockdev, seen_under

BED = "names.umockdev"
RULES = Path("/usr/lib/udev/rules.d/60-serial.rules")
SHARED = "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_0001-if00-port0"
STICK = "/dev/serial/by-id/usb-Lindenhof_Mesh_stick_A1B2C3D4-if00-port0"

needs_udev = pytest.mark.skipif(
    shutil.which("udevadm") is None or not RULES.exists(), reason="udev is absent (Debian package udev)"
)
needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root makes device nodes and namespaces")


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
def test_a_name_that_two_adapters_want_has_both_as_claimants() -> None:
    """Two adapters with one serial number want one name; the link leads to one of them."""
    found = links(seen_under("serial", BED))
    assert found[SHARED].claimants == ["ttyUSB1", "ttyUSB10"]
    assert found[SHARED].target == "ttyUSB10"
    assert found[STICK].claimants == ["ttyUSB0"]
    assert found[STICK].target == "ttyUSB0"
    assert "/dev/gps0" not in found


@needs_umockdev
def test_a_wanted_name_that_is_not_on_disk_is_listed(tmp_path: Path) -> None:
    """udev says the tty has the name, and the link is gone: the target is null."""
    bed = tmp_path / "lost.umockdev"
    bed.write_text(re.sub(rf"^S: {STICK.removeprefix('/dev/')}\n", "", (BEDS / BED).read_text(), flags=re.M))
    link = links(seen_under("serial", bed))[STICK]
    assert link.target is None
    assert link.claimants == ["ttyUSB0"]


@needs_umockdev
@needs_udev
def test_names_are_composed_as_the_installed_udev_rule_says() -> None:
    """60-serial.rules: bus, serial, interface number, and the port number of usb-serial devices."""
    text = RULES.read_text()
    with_port = re.search(r'ENV\{\.ID_PORT\}=="\?\*", SYMLINK\+="(serial/by-id/[^"]*)"', text)
    without_port = re.search(r'ENV\{\.ID_PORT\}=="", SYMLINK\+="(serial/by-id/[^"]*)"', text)
    assert with_port
    assert without_port
    assert '.ID_PORT}="$attr{port_number}"' in text
    seen = seen_under("serial", BED)
    for name, tty in ttys(seen).items():
        assert tty.udev is not UNSET
        values = {**tty.udev, ".ID_PORT": str(tty.port_number)}
        rule = without_port if tty.port_number is None else with_port
        path = "/dev/" + re.sub(r"\$env\{([^}]*)\}", lambda key: values[key[1]], rule[1])  # noqa: B023  # used at once
        claimants = links(seen)[path].claimants
        assert claimants is not UNSET
        assert name in claimants


@needs_umockdev
@needs_udev
@needs_root
@pytest.mark.parametrize(
    ("name", "device"),
    [("ttyUSB0", "1-1/1-1:1.0/ttyUSB0/tty/ttyUSB0"), ("ttyACM0", "1-4/1-4:1.0/tty/ttyACM0")],
)
def test_names_and_properties_are_those_that_udev_itself_works_out(name: str, device: str) -> None:
    """udevadm test, with this machine's rules on the testbed's sysfs, wants the same names."""
    path = f"/sys/devices/pci0000:00/0000:00:14.0/usb1/{device}"
    out = isolated(f"umockdev-run -d {BEDS / BED} -- udevadm test --action=add {path} 2>&1")
    said = dict(re.findall(r"^ *([A-Z_]+)=(.*)$", out, re.M))  # systemd 257 indents them
    seen = seen_under("serial", BED)
    ours = {link.path for link in links(seen).values() if link.claimants == [name]}
    assert ours
    assert ours <= set(said["DEVLINKS"].split())
    udev = ttys(seen)[name].udev
    assert udev is not UNSET
    for key in ("ID_SERIAL", "ID_USB_INTERFACE_NUM", "ID_PATH", "ID_BUS", "ID_VENDOR_ID", "ID_MODEL_ID"):
        assert udev[key] == said[key]


@needs_udev
@needs_root
@pytest.mark.skipif(not os.path.exists("/sys/class/tty/tty11"), reason="this kernel has no virtual terminals")
def test_the_link_stack_of_the_installed_udev_is_understood() -> None:
    """Two devices that udev itself gives one name: both are claimants, and its files say what libudev says."""
    code = (
        "import msgspec, sys\n"
        "from radiocheck.sources import serial\n"
        "from radiocheck.sources.machine import Machine\n"
        "names = ['tty10', 'tty11']\n"
        "near, far = Machine(), Machine(root='/proc/self/root')\n"
        "seen = serial.collect(near)\n"
        "print(msgspec.json.encode([seen.facts['links'], serial._from_libudev(near, names),"
        " serial._from_database(far, names)]).decode())\n"
    )
    out = isolated(
        "mknod /dev/tty10 c 4 10; mknod /dev/tty11 c 4 11\n"
        f"""echo 'KERNEL=="tty10|tty11", SYMLINK+="{SHARED.removeprefix("/dev/")}", ENV{{ID_BUS}}="usb", """
        """TAG+="systemd"' >/run/udev/rules.d/99-two.rules\n"""
        "for tty in tty10 tty11; do udevadm test --action=add /sys/class/tty/$tty >/dev/null 2>&1 || true; done\n"
        f'[ -d /run/udev/links ] || exit 0\n{sys.executable} -c "{code}"\n'
    )
    if not out:
        pytest.skip("udevadm test of this systemd writes nothing")
    found, by_libudev, by_files = msgspec.json.decode(out)
    assert found == [{"path": SHARED, "target": "tty11", "claimants": ["tty10", "tty11"]}]
    assert by_libudev["tty10"] == {"DEVLINKS": SHARED, "DEVNAME": "/dev/tty10", "ID_BUS": "usb", "TAGS": ":systemd:"}
    assert {name: {**kept, "DEVNAME": f"/dev/{name}"} for name, kept in by_files.items()} == by_libudev


@needs_umockdev
def test_udev_files_below_another_root_give_properties_and_claimants(root: str) -> None:
    """The database and the link stack as systemd 252 and 257 write them (seen on Debian 12 and 13)."""
    for number, more in (("0", ""), ("1", f"S:{SHARED[5:]}\n"), ("10", f"S:{SHARED[5:]}\n")):
        write(root, f"/run/udev/data/c188:{number}", f"{more}I:1446888695\nE:ID_BUS=usb\nE:X=1\nG:systemd\nV:1\n")
    write(root, "/run/udev/data/c166:0", "I:1\nE:ID_BUS=usb\n")
    stack = root + "/run/udev/links/" + SHARED[5:].replace("/", "\\x2f")
    os.makedirs(stack)
    os.symlink("0:/dev/ttyUSB10", f"{stack}/c188:10")
    os.symlink("0:/dev/ttyUSB7", f"{stack}/c188:7")  # left behind by a device that is gone
    write(stack, "/.lock", "")
    long = "serial\\x2fby-id\\x2fusb-" + "a" * (255 - 36) + "CzapV52xRzPr"  # shortened by udev, ends in a hash
    os.makedirs(f"{root}/run/udev/links/{long}")
    os.symlink("0:/dev/ttyUSB0", f"{root}/run/udev/links/{long}/c188:0")
    seen = serial.collect(Machine(root=root))
    assert ttys(seen)["ttyUSB0"].udev == {"ID_BUS": "usb", "TAGS": ":systemd:"}
    assert links(seen)[SHARED].claimants == ["ttyUSB1", "ttyUSB10"]
    assert links(seen)[STICK].claimants == []
    assert not any(len(path) > 200 for path in links(seen))
    assert seen.gaps == ()


@needs_umockdev
def test_the_link_stack_alone_tells_the_claimants_of_its_names(root: str) -> None:
    """No database, but a stack: the names in it have known claimants, the others have not."""
    stack = root + "/run/udev/links/" + STICK[5:].replace("/", "\\x2f")
    os.makedirs(stack)
    os.symlink("0:/dev/ttyUSB0", f"{stack}/c188:0")
    found = links(serial.collect(Machine(root=root)))
    assert found[STICK].claimants == ["ttyUSB0"]
    assert found[SHARED].claimants is UNSET


@needs_umockdev
def test_a_name_that_only_the_link_stack_tells_of_is_listed(root: str) -> None:
    """Wanted by a device that is here, and not on disk: a target of null."""
    stack = root + "/run/udev/links/" + "serial/by-id/lost".replace("/", "\\x2f")
    os.makedirs(stack)
    os.symlink("0:/dev/ttyUSB0", f"{stack}/c188:0")
    link = links(serial.collect(Machine(root=root)))["/dev/serial/by-id/lost"]
    assert (link.target, link.claimants) == (None, ["ttyUSB0"])


@needs_umockdev
def test_claimants_are_complete_or_absent(root: str) -> None:
    """One tty could not be looked up: it may want any name, so no list of claimants stands."""
    known, unknown = Tty(name="ttyUSB0", udev={"DEVLINKS": STICK}), Tty(name="ttyUSB1")
    machine = Machine(root=root)
    assert {link.claimants for link in serial._links(machine, [known, unknown], []) or []} == {UNSET}
    found = {link.path: link.claimants for link in serial._links(machine, [known], []) or []}
    assert (found[STICK], found[SHARED]) == (["ttyUSB0"], [])


@needs_umockdev
def test_a_name_may_lead_over_another_name_or_nowhere(root: str) -> None:
    """Links of links are followed, loops and dangling ones end in null; undecodable names can be saved."""
    folder = f"{root}/dev/serial/by-id"
    os.symlink("usb-Lindenhof_Mesh_stick_A1B2C3D4-if00-port0", f"{folder}/mine")
    os.symlink("../../ttyUSB9", f"{folder}/gone")
    os.symlink("round", f"{folder}/round")
    os.symlink(b"../../ttyUSB0", os.fsencode(folder) + b"/\xff\x1b[2J")
    found = links(serial.collect(Machine(root=root)))
    assert found["/dev/serial/by-id/mine"].target == "ttyUSB0"
    assert found["/dev/serial/by-id/gone"].target is None
    assert found["/dev/serial/by-id/round"].target is None
    assert found["/dev/serial/by-id/\ufffd\x1b[2J"].target == "ttyUSB0"
    assert msgspec.json.encode(list(found.values()))


@needs_umockdev
@needs_root
def test_a_node_that_bears_the_name_itself_is_known_by_its_number(root: str) -> None:
    """Container engines make a node at the path that was asked for, not a link to one."""
    os.mknod(f"{root}/dev/serial/by-id/inside", 0o20660, os.makedev(188, 10))
    assert links(serial.collect(Machine(root=root)))["/dev/serial/by-id/inside"].target == "ttyUSB10"
