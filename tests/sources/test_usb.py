"""USB devices as read from sysfs, under umockdev testbeds and against lsusb."""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.usb import UsbDevice, UsbInterface
from radiocheck.sources import usb
from radiocheck.sources.machine import Machine

from .umock import BEDS, REPOSITORY, laid_out, needs_umockdev, seen_under, under

ALL = ("gable.umockdev", "refused.umockdev", "platform.umockdev", "given.umockdev")
DEBIAN_PYTHON = "/usr/bin/python3"  # the one that Debian's python3-gi is for

needs_lsusb = pytest.mark.skipif(shutil.which("lsusb") is None, reason="lsusb is absent (Debian package usbutils)")


@dataclass(frozen=True)
class Eventful(Machine):
    """A machine on which something happens just before a file whose path ends so is read."""

    happens: dict[str, Callable[[], None]] = field(default_factory=dict)

    def read_bytes(self, path: str) -> bytes:
        for end, event in list(self.happens.items()):
            if path.endswith(end):
                event()
        return super().read_bytes(path)


def devices(machine: Machine) -> dict[str, UsbDevice]:
    return {device.name: device for device in usb.collect(machine).facts["usb"]}


def refusing(number: int) -> Callable[[], None]:
    def refuse() -> None:
        raise OSError(number, os.strerror(number))

    return refuse


def adapter_folder(root: str) -> Path:
    return Path(os.path.realpath(f"{root}/sys/bus/usb/devices/1-2.3"))


@needs_umockdev
@needs_lsusb
def test_the_bus_is_the_one_that_lsusb_shows() -> None:
    """Bus, device number, VID and PID of every device are those of lsusb on the same testbed, and no others."""
    shown = set(re.findall(r"Bus (\d+) Device (\d+): ID (\w+):(\w+)", under(*ALL, argv=["lsusb"]).stdout))
    seen = seen_under("usb", *ALL)
    assert len(shown) == 11
    assert {(f"{d.bus:03d}", f"{d.devnum:03d}", d.vid, d.pid) for d in seen.usb} == shown  # type: ignore[union-attr]
    assert seen.gaps == []


@needs_umockdev
@needs_lsusb
def test_power_is_what_lsusb_reads_from_the_descriptors() -> None:
    """bMaxPower and the self-powered bit of configured devices equal what lsusb -v decodes from the descriptors."""
    shown: dict[tuple[int, int], tuple[bool, int]] = {}
    text = under(*ALL, argv=["lsusb", "-v"]).stdout
    for block in text.split("\nBus ")[1:]:
        bus, number = re.findall(r"\d+", block)[:2]
        power = re.search(r"MaxPower +(\d+)mA", block)
        assert power
        shown[int(bus), int(number)] = ("Self Powered" in block, int(power[1]))
    seen = [d for d in seen_under("usb", *ALL).usb if d.configuration is not None]  # type: ignore[union-attr]
    assert len(seen) == 9
    for device in seen:
        assert (device.self_powered, device.max_power_ma) == shown[device.bus, device.devnum], device.name  # type: ignore[index]


@needs_umockdev
def test_every_field_of_the_adapter() -> None:
    """A serial adapter behind a hub: each field holds what its file says (Documentation/ABI, sysfs-bus-usb)."""
    with laid_out("gable.umockdev") as root:
        seen = usb.collect(Machine(root=root))
    assert next(device for device in seen.facts["usb"] if device.name == "1-2.3") == UsbDevice(
        name="1-2.3",
        bus=1,
        devnum=5,
        path="2.3",
        parent="1-2",
        port="1-2-port3",
        controller="0000:00:14.0",
        vid="1209",
        pid="7a01",
        bcd="0100",
        manufacturer="Lindenhof",
        product="Mesh stick",
        serial="A1B2C3",
        device_class=0,
        version="2.00",
        speed=12.0,
        ports=0,
        self_powered=False,
        max_power_ma=100,
        configuration=1,
        authorized=True,
        removable="removable",
        power_control="on",
        autosuspend_ms=2000,
        runtime_status="active",
        connected_ms=3600500,
        driver="usb",
        urbs=431,
        interfaces=[
            UsbInterface(
                name="1-2.3:1.0",
                number=0,
                class_=0xFF,
                subclass=0,
                protocol=0,
                endpoints=2,
                driver="cp210x",
                authorized=True,
                label="Mesh stick UART",
                modalias="usb:v1209p7A01d0100dc00dsc00dp00icFFisc00ip00in00",
                ttys=["ttyUSB0"],
            )
        ],
    )
    assert seen.gaps == ()


@needs_umockdev
def test_the_way_up_to_the_controller() -> None:
    """Parent, port and controller follow the kernel's names: usb_alloc_dev() in drivers/usb/core/usb.c."""
    with laid_out(*ALL) as root:
        seen = devices(Machine(root=root))
    way = {name: (device.parent, device.port, device.controller) for name, device in seen.items()}
    assert way["usb1"] == (None, None, "0000:00:14.0")
    assert way["1-2"] == ("usb1", "usb1-port2", "0000:00:14.0")
    assert way["2-3.1"] == ("2-3", "2-3-port1", "0000:00:14.0")
    assert way["usb5"] == (None, None, "dummy_hcd.0")  # no PCI function above: the platform device


@needs_umockdev
def test_a_port_is_found_without_the_link() -> None:
    """A device without a `port` link (older kernels) is found in the port that its name tells; null without one."""
    with laid_out("platform.umockdev") as root:
        assert not os.path.lexists(f"{root}/sys/bus/usb/devices/5-1/port")
        assert devices(Machine(root=root))["5-1"].port == "usb5-port1"
        shutil.rmtree(f"{root}/sys/bus/usb/devices/5-0:1.0/usb5-port1")
        assert devices(Machine(root=root))["5-1"].port is None


@needs_umockdev
def test_an_unconfigured_device() -> None:
    """No active configuration: the kernel's files are empty (usb_actconfig_show()), so null, and no interface."""
    with laid_out("refused.umockdev") as root:
        device = devices(Machine(root=root))["3-1"]
    assert (device.configuration, device.max_power_ma, device.interfaces) == (None, None, [])
    assert device.self_powered is UNSET
    assert device.authorized is True


@needs_umockdev
def test_a_device_that_is_not_authorised() -> None:
    """authorized=0 is false; the root hub tells the default that made it so (sysfs-bus-usb, authorization.rst)."""
    with laid_out("refused.umockdev", "gable.umockdev") as root:
        seen = devices(Machine(root=root))
    assert seen["3-2"].authorized is False
    assert {name: d.authorized_default for name, d in seen.items() if d.parent is None} == {
        "usb1": 1,
        "usb2": 1,
        "usb3": 0,
    }
    assert seen["3-2"].authorized_default is UNSET  # a file of root hubs only


@needs_umockdev
def test_a_missing_string_is_null() -> None:
    """The kernel makes no file for a string without descriptor index (is_visible in sysfs.c): there is none."""
    with laid_out("platform.umockdev") as root:
        device = devices(Machine(root=root))["5-1"]
    assert device.serial is None
    assert device.product == "Mesh stick"


@needs_umockdev
def test_ttys_of_both_layouts() -> None:
    """usb-serial puts a port device between interface and tty, cdc-acm does not; its data interface has none."""
    with laid_out("gable.umockdev", "platform.umockdev") as root:
        seen = devices(Machine(root=root))
    ttys = {i.name: i.ttys for name in ("1-2.3", "5-1", "2-3.1") for i in seen[name].interfaces or []}
    assert ttys == {"1-2.3:1.0": ["ttyUSB0"], "5-1:1.0": ["ttyACM0"], "5-1:1.1": [], "2-3.1:1.0": []}


@needs_umockdev
def test_an_unbound_interface_has_null_for_its_driver() -> None:
    """The `driver` link is gone while nobody has bound the interface; with usbfs it names usbfs."""
    with laid_out("gable.umockdev") as root:
        link = adapter_folder(root) / "1-2.3:1.0" / "driver"
        link.unlink()
        assert devices(Machine(root=root))["1-2.3"].interfaces[0].driver is None  # type: ignore[index]
        link.symlink_to("../../../../../../../bus/usb/drivers/usbfs")
        assert devices(Machine(root=root))["1-2.3"].interfaces[0].driver == "usbfs"  # type: ignore[index]


@needs_umockdev
@pytest.mark.parametrize("moment", ["1-2.3/busnum", "1-2.3/urbnum", "1-2.3:1.0/bInterfaceClass"])
def test_a_device_that_leaves_while_it_is_read_is_left_out(moment: str) -> None:
    """Pulled at the first, a middle or the last read: no record, no gap, and the others are whole."""
    with laid_out("gable.umockdev") as root:
        whole = devices(Machine(root=root))
        pull = {moment: lambda: shutil.rmtree(adapter_folder(root), ignore_errors=True)}
        seen = usb.collect(Eventful(root=root, happens=pull))
    assert seen.gaps == ()
    assert {d.name: d for d in seen.facts["usb"]} == {n: d for n, d in whole.items() if n != "1-2.3"}


@needs_umockdev
def test_a_device_that_enumerates_anew_while_it_is_read_is_one_device() -> None:
    """No record mixes two enumerations: the one that is there at the end is told, with all of its own files."""
    with laid_out("gable.umockdev") as root:
        adapter = adapter_folder(root)

        def again() -> None:
            (adapter / "devnum").write_text("6\n")
            (adapter / "serial").write_text("D4E5F6\n")

        device = devices(Eventful(root=root, happens={"1-2.3/urbnum": again}))["1-2.3"]
    assert (device.devnum, device.serial) == (6, "D4E5F6")


_REMOVAL = """
import subprocess, sys
import gi
gi.require_version("UMockdev", "1.0")
from gi.repository import UMockdev
bed = UMockdev.Testbed.new()
bed.add_from_file(sys.argv[1])
reader = subprocess.Popen(sys.argv[2:], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
assert reader.stdout.readline() == "listed\\n"
bed.remove_device("/sys/devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2.3")
reader.stdin.write("removed\\n")
print(reader.communicate()[0], end="")
sys.exit(reader.returncode)
"""
_READER = """
import dataclasses, json, sys
from radiocheck.sources import usb
from radiocheck.sources.machine import Machine
class Waiting(Machine):
    def names(self, path):
        names = super().names(path)
        if path == usb.DEVICES:
            print("listed", flush=True)
            sys.stdin.readline()
        return names
seen = usb.collect(Waiting())
print(json.dumps([[device.name for device in seen.facts["usb"]], len(seen.gaps)]))
"""


@needs_umockdev
def test_hot_removal_by_umockdev_between_listing_and_reading() -> None:
    """A device that umockdev removes after the bus was listed does not show, and leaves no gap."""
    if subprocess.run([DEBIAN_PYTHON, "-c", "from gi.repository import UMockdev"], capture_output=True).returncode:
        pytest.skip("python3-gi or gir1.2-umockdev-1.0 is absent (Debian packages)")
    done = subprocess.run(
        [
            "umockdev-wrapper",
            DEBIAN_PYTHON,
            "-c",
            _REMOVAL,
            str(BEDS / "gable.umockdev"),
            sys.executable,
            "-c",
            _READER,
        ],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == [["1-2", "2-3", "2-3.1", "usb1", "usb2"], 0]


@needs_umockdev
def test_a_file_that_a_plain_user_may_not_read() -> None:
    """Without the right to read it, the serial number is absent, not null, and a gap says why and what would help."""
    with laid_out("gable.umockdev") as root:
        os.chmod(root, 0o755)
        (adapter_folder(root) / "serial").chmod(0)
        device, gaps = _as_nobody(root)
    assert device.serial is UNSET
    assert device.product == "Mesh stick"
    assert gaps == [["usb[1-2.3].serial", "denied", "run as root"]]


def _as_nobody(root: str) -> tuple[UsbDevice, list[list[str]]]:
    """What a process without root's rights reads: a fork of ours, because root may read everything."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            if os.geteuid() == 0:
                os.setgroups([])
                os.setgid(65534)
                os.setuid(65534)
            seen = usb.collect(Machine(root=root))
            found = next(device for device in seen.facts["usb"] if device.name == "1-2.3")
            gaps = [[gap.what, gap.why, gap.provide] for gap in seen.gaps]
            os.write(into, msgspec.json.encode([found, gaps]))
        finally:
            os._exit(0)
    os.close(into)
    with os.fdopen(out, "rb") as pipe:
        answer = pipe.read()
    os.waitpid(child, 0)
    return msgspec.json.decode(answer, type=tuple[UsbDevice, list[list[str]]])


@needs_umockdev
def test_a_file_that_fails_to_be_read() -> None:
    """An input/output error (as of power/autosuspend_delay_ms without autosuspend) costs that field only."""
    with laid_out("gable.umockdev") as root:
        machine = Eventful(root=root, happens={"1-2.3/power/autosuspend_delay_ms": refusing(errno.EIO)})
        seen = usb.collect(machine)
    device = next(device for device in seen.facts["usb"] if device.name == "1-2.3")
    assert device.autosuspend_ms is UNSET
    assert device.runtime_status == "active"
    assert [(gap.what, gap.why, gap.detail) for gap in seen.gaps] == [
        ("usb[1-2.3].autosuspend_ms", "failed", "Input/output error")
    ]


@needs_umockdev
def test_a_device_can_say_anything_in_its_strings() -> None:
    """Strings are kept as the device sent them, NULs taken out and undecodable bytes marked: the report escapes."""
    with laid_out("gable.umockdev") as root:
        (adapter_folder(root) / "product").write_bytes(b" \x1b[2J\x00stick\xff\n\n")
        (adapter_folder(root) / "serial").write_bytes(b"\n")
        device = devices(Machine(root=root))["1-2.3"]
    assert device.product == " \x1b[2Jstick\ufffd"
    assert device.serial is None  # an empty serial number is none


GARBLED = {
    "devnum": ("devnum", "five"),
    "bus": ("busnum", "9" * 5000),
    "vid": ("idVendor", "12"),
    "speed": ("speed", "nan"),
    "authorized": ("authorized", "2"),
    "self_powered": ("bmAttributes", "zz"),
    "connected_ms": ("power/connected_duration", "1" * 12),
}


@needs_umockdev
def test_a_garbled_number_is_absent() -> None:
    """What the kernel could not have printed is not taken for a value; one gap each names the file and its text."""
    with laid_out("gable.umockdev") as root:
        for file, text in GARBLED.values():
            (adapter_folder(root) / file).write_text(text + "\n")
        seen = usb.collect(Machine(root=root))
    device = next(device for device in seen.facts["usb"] if device.name == "1-2.3")
    assert {name: getattr(device, name) for name in GARBLED} == dict.fromkeys(GARBLED, UNSET)
    assert (device.pid, device.product) == ("7a01", "Mesh stick")
    assert {gap.what: (gap.why, gap.detail) for gap in seen.gaps} == {
        f"usb[1-2.3].{name}": ("malformed", f"{file}: {text[:80]}") for name, (file, text) in GARBLED.items()
    }


@needs_umockdev
def test_speeds_that_the_kernel_prints() -> None:
    """speed_show() of drivers/usb/core/sysfs.c prints these words, in Mb/s (the ABI text's "15" is not among them)."""
    with laid_out("gable.umockdev") as root:
        for text in ("1.5", "12", "480", "5000", "10000", "20000"):
            (adapter_folder(root) / "speed").write_text(text + "\n")
            assert devices(Machine(root=root))["1-2.3"].speed == float(text)


@needs_umockdev
def test_a_kernel_without_usb_has_no_devices() -> None:
    """/sys is there but has no USB bus: usbcore is not in this kernel, so the list is complete and empty."""
    with laid_out("given.umockdev") as root:
        seen = usb.collect(Machine(root=root))
    assert (dict(seen.facts), seen.gaps) == ({"usb": []}, ())


def test_without_sys_nobody_could_look(tmp_path: Path) -> None:
    """No /sys: the field is absent and a gap says what to provide."""
    seen = usb.collect(Machine(root=str(tmp_path)))
    assert "usb" not in seen.facts
    assert [(gap.what, gap.why) for gap in seen.gaps] == [("usb", "not-here")]
