"""USB devices that leave, change, refuse or lie while they are read."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import msgspec
import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.usb import UsbDevice
from radiocheck.sources import usb
from radiocheck.sources.machine import Machine

from .umock import BEDS, REPOSITORY, Eventful, laid_out, needs_umockdev, refusing

DEBIAN_PYTHON = "/usr/bin/python3"  # the one that Debian's python3-gi is for


def devices(machine: Machine) -> dict[str, UsbDevice]:
    return {device.name: device for device in usb.collect(machine).facts["usb"]}


def adapter_folder(root: str) -> Path:
    return Path(os.path.realpath(f"{root}/sys/bus/usb/devices/1-2.3"))


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
def test_a_padded_file() -> None:
    """A copy of sysfs pads each file with NULs to a page: what follows the text's end does not become part of it."""
    with laid_out("gable.umockdev") as root:
        for name, text in (("serial", b"A1B2C3\n"), ("busnum", b"1\n")):
            (adapter_folder(root) / name).write_bytes(text.ljust(4096, b"\0"))
        device = devices(Machine(root=root))["1-2.3"]
    assert (device.serial, device.bus) == ("A1B2C3", 1)


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
