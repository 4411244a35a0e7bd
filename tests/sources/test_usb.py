"""USB devices as read from sysfs, under umockdev testbeds and against lsusb."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.usb import UsbDevice, UsbInterface
from radiocheck.sources import usb
from radiocheck.sources.machine import Machine

from .umock import BEDS, laid_out, needs_umockdev, seen_under, under

ALL = ("gable.umockdev", "refused.umockdev", "platform.umockdev", "given.umockdev")

needs_lsusb = pytest.mark.skipif(shutil.which("lsusb") is None, reason="lsusb is absent (Debian package usbutils)")


def devices(machine: Machine) -> dict[str, UsbDevice]:
    return {device.name: device for device in usb.collect(machine).facts["usb"]}


def adapter_folder(root: str) -> Path:
    return Path(os.path.realpath(f"{root}/sys/bus/usb/devices/1-2.3"))


@needs_umockdev
@needs_lsusb
def test_the_bus_is_the_one_that_lsusb_shows() -> None:
    """Bus, device number, VID and PID of every device are those of lsusb on the same testbed, and no others."""
    shown = set(re.findall(r"Bus (\d+) Device (\d+): ID (\w+):(\w+)", under(*ALL, argv=["lsusb"]).stdout))
    seen = seen_under("usb", *ALL)
    assert len(shown) == 11
    assert {(f"{d.bus:03d}", f"{d.devnum:03d}", d.vid, d.pid) for d in seen.usb} == shown
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
    seen = [d for d in seen_under("usb", *ALL).usb if d.configuration is not None]
    assert len(seen) == 9
    for device in seen:
        assert (device.self_powered, device.max_power_ma) == shown[device.bus, device.devnum], device.name


@needs_umockdev
def test_a_capture_of_a_real_kernel() -> None:
    """The files of a Debian 6.1 kernel are read without a gap, and are the devices its lsusb showed at that moment."""
    listing = (BEDS / "captured-linux-6.1.lsusb").read_text()
    seen = seen_under("usb", "captured-linux-6.1.umockdev")
    found = {d.name: d for d in seen.usb}
    assert seen.gaps == []
    assert {(f"{d.bus:03d}", f"{d.devnum:03d}", d.vid, d.pid) for d in found.values()} == set(
        re.findall(r"Bus (\d+) Device (\d+): ID (\w+):(\w+)", listing)
    )
    ways = {d.name: (d.parent, d.port, d.controller, d.speed) for d in found.values() if d.device_class != 9}
    assert ways == {
        "1-1": ("usb1", "usb1-port1", "0000:00:05.0", 12.0),
        "2-2": ("usb2", "usb2-port2", "0000:00:05.0", 5000.0),
        "3-2.1": ("3-2", "3-2-port1", "0000:00:06.0", 12.0),
        "9-1": ("usb9", "usb9-port1", "dummy_hcd.0", 480.0),
    }
    drivers = {i.name: (i.driver, i.ttys) for name in ways for i in found[name].interfaces or []}
    assert drivers == {
        "1-1:1.0": ("ftdi_sio", ["ttyUSB0"]),
        "2-2:1.0": ("usb-storage", []),
        "3-2.1:1.0": ("ftdi_sio", ["ttyUSB1"]),
        "9-1:1.0": ("cdc_acm", ["ttyACM0"]),
        "9-1:1.1": ("cdc_acm", []),
    }


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
        assert devices(Machine(root=root))["1-2.3"].interfaces[0].driver is None
        link.symlink_to("../../../../../../../bus/usb/drivers/usbfs")
        assert devices(Machine(root=root))["1-2.3"].interfaces[0].driver == "usbfs"


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
