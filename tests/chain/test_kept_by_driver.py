"""A program that brings its own driver finds an interface busy: the kernel's driver has it, or another program."""

from __future__ import annotations

import pytest

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import headline
from radiocheck.pastes.merge import read

RULES = load([shipped()])
TREE = """$ lsusb -t
/:  Bus 003.Port 001: Dev 001, Class=root_hub, Driver=xhci_hcd/12p, 480M
    |__ Port 006: Dev 004, If 0, Class={}, Driver={}, 12M
"""
CLAIM = "Can't claim interface 3/4: LIBUSB_ERROR_BUSY usb:072f/2200:libudev:0:/dev/bus/usb/003/004\n"
UPS = "Can't claim USB device [0463:ffff]@0/0: could not claim interface 0: Device or resource busy\n"
HELD = "$ sudo fuser -v /dev/bus/usb/003/004\n                     USER        PID ACCESS COMMAND\n"
HOLDER = "/dev/bus/usb/003/004: root       871 F.... scdaemon\n"


def named(text: str) -> str | None:
    """The rule that a paste's verdict is headed by."""
    report = judge(read(text.encode(), now=0.0).evidence, RULES)
    return headline(report.chains[0]) if report.chains else None


@pytest.mark.parametrize(
    ("class_", "driver"),
    [
        ("Chip/SmartCard", "pn533_usb"),
        ("Printer", "usblp"),
        ("Audio", "snd-usb-audio"),
        ("Human Interface Device", "usbhid"),
    ],
)
def test_the_kernel_has_it(class_: str, driver: str) -> None:
    """Whatever driver of another kind took the interface."""
    assert named(CLAIM + TREE.format(class_, driver)) == "kernel-driver-keeps-program-out"


def test_another_program_has_it() -> None:
    """usbfs is a program, so is one that `fuser` shows; where no driver is there, some program had it then."""
    assert named(CLAIM + TREE.format("Chip/SmartCard", "usbfs")) == "claimed-through-usbfs"
    assert named(CLAIM + TREE.format("Chip/SmartCard", "pn533_usb") + HELD + HOLDER) == "program-found-it-busy"
    assert named(CLAIM + TREE.format("Chip/SmartCard", "")) == "program-found-it-busy"


def test_a_tool_that_pushes_the_driver_aside() -> None:
    """The drivers of a UPS daemon detach usbhid, so what is busy is a second one of them."""
    found = named(UPS + TREE.format("Human Interface Device", "usbhid"))
    assert found != "kernel-driver-keeps-program-out"
