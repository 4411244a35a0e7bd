"""The forecast against libvirt itself: what a real one does with each <source> on a bus that is described to it.

libvirt's QEMU driver runs within virsh (`qemu:///embed`, virt-qemu-run(1)), in a folder of
its own, and reads sysfs as umockdev-run(1) shows it.  It looks for the device before it
starts anything, so that a start that fails later, for want of a log daemon, tells enough.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

from radiocheck.chain.context import context
from radiocheck.chain.forecast import forecasts
from radiocheck.chain.subjects import subjects
from radiocheck.chain.verdict import Forecast
from radiocheck.evidence.usb import UsbDevice
from radiocheck.sources.domain_xml import read

from . import machines as m

NEEDED = ("virsh", "virt-qemu-run", "umockdev-run", "qemu-system-x86_64")
LIMIT = 60.0  # seconds for one start
# What it next wants, where no daemon runs: only by this is it known to have gone on.
BEYOND = re.compile(r"Failed to connect socket to '[^']*/virtlogd-sock'")
REFUSALS = re.compile(r"(Multiple USB devices|Did not find (?:matching )?USB device)[^\n]*")
ONE = [m.root_hub(), m.stick()]
TWINS = [*ONE, m.stick("1-3", 5, "D4E5F6")]
IDS, GONE = "<vendor id='0x1209'/><product id='0x7a01'/>", "<vendor id='0x1209'/><product id='0x7a99'/>"
# Name: <source>, devices.
SOURCES: dict[str, tuple[str, list[UsbDevice]]] = {
    "IDs": (f"<source>{IDS}</source>", ONE),
    "IDs of twins": (f"<source>{IDS}</source>", TWINS),
    "IDs of twins, optional": (f"<source startupPolicy='optional'>{IDS}</source>", TWINS),
    "IDs that nothing has": (f"<source>{GONE}</source>", ONE),
    "IDs that nothing has, requisite": (f"<source startupPolicy='requisite'>{GONE}</source>", ONE),
    "IDs that nothing has, optional": (f"<source startupPolicy='optional'>{GONE}</source>", ONE),
    "number": ("<source><address bus='1' device='4'/></source>", ONE),
    "number that nothing has": ("<source><address bus='1' device='9'/></source>", ONE),
    "number that nothing has, optional": (
        "<source startupPolicy='optional'><address bus='1' device='9'/></source>",
        ONE,
    ),
    "IDs and number": (f"<source>{IDS}<address bus='1' device='4'/></source>", TWINS),
    "IDs and a number that nothing has": (f"<source>{IDS}<address bus='1' device='9'/></source>", TWINS),
}

pytestmark = pytest.mark.skipif(
    any(shutil.which(program) is None for program in NEEDED),
    reason="needs the Debian packages libvirt-clients, libvirt-daemon-driver-qemu, umockdev and qemu-system-x86",
)


def domain(source: str) -> str:
    """A VM with one USB device."""
    return (
        "<domain type='qemu'><name>hearth</name><memory unit='MiB'>16</memory>"
        "<os><type arch='x86_64' machine='pc'>hvm</type></os><devices>"
        "<emulator>/usr/bin/qemu-system-x86_64</emulator><controller type='usb' model='qemu-xhci'/>"
        f"<hostdev mode='subsystem' type='usb'>{source}</hostdev></devices></domain>"
    )


def described(device: UsbDevice) -> str:
    """A device as umockdev-run reads it (umockdev-record(1))."""
    place = "usb1" if device.name == "usb1" else f"usb1/{device.name}"
    numbers = {"idVendor": device.vid, "idProduct": device.pid, "busnum": device.bus, "devnum": device.devnum}
    lines = [f"P: /devices/pci0000:00/0000:00:14.0/{place}", "E: SUBSYSTEM=usb", "E: DEVTYPE=usb_device"]
    return "\n".join([*lines, *(f"A: {name}={value}\\n" for name, value in numbers.items())]) + "\n\n"


def refusal(xml: str, devices: list[UsbDevice], folder: Path) -> str | None:
    """What libvirt says when it does not choose a device; None when it went on to what comes after that."""
    (folder / "hearth.xml").write_text(xml)
    (folder / "bus.umockdev").write_text("".join(described(device) for device in devices))
    words = ["umockdev-run", "-d", str(folder / "bus.umockdev"), "--", "virsh", "-c"]
    words += [f"qemu:///embed?root={folder}/root", f"create {folder}/hearth.xml; destroy hearth"]
    ran = subprocess.run(
        words,
        capture_output=True,
        text=True,
        timeout=LIMIT,
        check=False,
        env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "HOME": str(folder), "LC_ALL": "C.UTF-8"},
    )
    if "error:" in ran.stderr and "embed" in ran.stderr:
        pytest.skip(f"no QEMU driver within virsh here: {ran.stderr.splitlines()[-1]}")
    found = REFUSALS.search(ran.stderr)
    assert found or BEYOND.search(ran.stderr) or "created" in ran.stdout, ran.stderr
    return found[0] if found else None


def forecast(xml: str, devices: list[UsbDevice]) -> Forecast:
    """What is said of that VM, which is off, on that bus."""
    evidence = m.native(usb=devices, domains=[m.domain(next=read(xml).definition)])
    found = subjects(evidence)
    indexed = context(evidence, found)
    return next(one for subject in found for one in forecasts(indexed, subject) if one.vm == "hearth")


@pytest.mark.parametrize("name", SOURCES)
def test_a_start(name: str) -> None:
    """`refused` is where libvirt refuses, and nowhere else."""
    source, devices = SOURCES[name]
    told = forecast(domain(source), devices)
    # pytest's folders are too long: the path of a socket, to QEMU, may have 107 characters (unix(7)).
    with tempfile.TemporaryDirectory(prefix="rc-") as folder:
        said = refusal(domain(source), devices, Path(folder))
    assert (told.at_vm_restart == "refused") == (said is not None), (told, said)
    if said is not None and said.startswith("Multiple"):
        assert "Multiple USB devices" in told.at_vm_restart_why
