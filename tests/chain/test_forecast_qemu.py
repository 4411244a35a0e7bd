"""The forecast against QEMU itself: what a real one does with each selector when nothing answers to it.

Only devices that no machine has are asked for, so that nothing real is taken.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from typing import NamedTuple

import pytest

from radiocheck.chain.context import context
from radiocheck.chain.forecast import forecasts
from radiocheck.chain.subjects import subjects
from radiocheck.chain.verdict import Forecast
from radiocheck.sources.qemu_args import parse

from . import machines as m

QEMU = "qemu-system-x86_64"
LIMIT = 60.0  # seconds for one start
NOWHERE = [
    "vendorid=0x1209,productid=0x7a9f",
    "hostbus=199,hostport=15.15",
    "hostport=15.15.15",
    "hostbus=199,hostaddr=126",
    "hostdevice=/dev/bus/usb/199/126",
    "vendorid=0x1209,productid=0x7a9f,hostbus=199,hostaddr=126",
]

pytestmark = pytest.mark.skipif(shutil.which(QEMU) is None, reason=f"{QEMU} is absent (Debian package qemu-system-x86)")


class Started(NamedTuple):
    """How a start of QEMU went."""

    status: int
    attached: bool | None  # what the monitor says of the device; None: QEMU did not get that far
    said: str


def start(*devices: str) -> Started:
    """Start QEMU with these devices, ask it about the one called `radio`, and end it."""
    talk = [
        {"execute": "qmp_capabilities"},
        {"execute": "qom-get", "arguments": {"path": "/machine/peripheral/radio", "property": "attached"}},
        {"execute": "quit"},
    ]
    words = [QEMU, "-machine", "pc,accel=tcg", "-m", "16", "-S", "-nodefaults", "-display", "none", "-qmp", "stdio"]
    for device in devices:
        words += ["-device", device]
    spoken = "\n".join(json.dumps(line) for line in talk) + "\n"
    ran = subprocess.run(words, input=spoken, capture_output=True, text=True, timeout=LIMIT, check=False)
    answers = [json.loads(line).get("return") for line in ran.stdout.splitlines()]
    return Started(ran.returncode, next((one for one in answers if isinstance(one, bool)), None), ran.stderr)


def forecast(device: str) -> Forecast:
    """What is said of a QEMU that has such a line, on a host without that device."""
    process = m.process("hearth", uid=0, libvirt=False, usb=parse(["-device", "qemu-xhci", "-device", device]).usb)
    evidence = m.native(qemu=[process])
    found = subjects(evidence)
    indexed = context(evidence, found)
    return next(one for subject in found for one in forecasts(indexed, subject) if one.vm == "hearth")


@pytest.mark.parametrize("selector", NOWHERE)
def test_without_a_match(selector: str) -> None:
    """`refused` is where QEMU ends, with the words that are told; `does-not-come-back` is where it runs without it."""
    device = f"usb-host,id=radio,{selector}"
    told, done = forecast(device), start("qemu-xhci", device)
    assert (told.at_vm_restart == "refused") == (done.status != 0), (told, done)
    assert (told.at_vm_restart == "does-not-come-back") == (done.attached is False), (told, done)
    if done.status:
        quoted = told.at_vm_restart_why.partition("“")[2].partition("”")[0]
        assert quoted
        assert quoted in done.said


def test_without_a_usb_controller() -> None:
    """A machine without a USB controller does not start with the line, as is told of VMs that have none."""
    done = start(f"usb-host,id=radio,{NOWHERE[0]}")
    assert done.status != 0
    assert "No 'usb-bus' bus found" in done.said


def test_a_serial_port_that_is_gone() -> None:
    """QEMU ends when it cannot open a forwarded tty, as is told of a name that leads nowhere."""
    words = [QEMU, "-machine", "none", "-display", "none", "-chardev", "serial,id=radio,path=/dev/ttyACM9917"]
    ran = subprocess.run(words, capture_output=True, text=True, timeout=LIMIT, check=False)
    assert ran.returncode != 0
    assert "/dev/ttyACM9917" in ran.stderr
