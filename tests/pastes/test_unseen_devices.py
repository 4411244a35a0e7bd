"""Devices that a paste is about and does not show, and such that it shows twice."""

from __future__ import annotations

import pytest

from radiocheck.evidence.absent import known
from radiocheck.pastes.merge import read

TWO = (
    "$ ls -l /dev/ttyUSB*\n"
    "crw-rw---- 1 root dialout 188, 0 Nov 25 12:00 /dev/ttyUSB0\n"
    "crw-rw---- 1 root dialout 188, 1 Nov 25 12:00 /dev/ttyUSB1\n"
    "$ lsusb | grep CP210\n"
    "Bus 001 Device 004: ID 10c4:ea60 Silicon Labs CP210x UART Bridge\n"
    "Bus 001 Device 005: ID {} UART Bridge\n"
)


@pytest.mark.parametrize(
    "text",
    [
        "usb.core.USBError: [Errno 16] Resource busy\n",
        "00000012 ccid_usb.c:716:OpenUSBByName() Can't claim interface 1/5: LIBUSB_ERROR_BUSY\n",
        "usb.core.USBError: [Errno 13] Access denied (insufficient permissions)\n",
    ],
)
def test_a_program_that_names_no_device(text: str) -> None:
    """There is one all the same."""
    devices = read(text.encode()).evidence.usb
    assert known(devices)
    assert [(one.name, known(one.vid)) for one in devices] == [("a port that was not seen", False)]


@pytest.mark.parametrize(
    "text",
    ["usb.core.USBError: [Errno 16] Resource busy\nIt is for my VM.\n", "[Errno 16] Device or resource busy: serial\n"],
)
def test_none_where_it_may_be_something_else(text: str) -> None:
    """With VMs about, it may be QEMU's; without a word of USB it may be any port."""
    assert not known(read(text.encode()).evidence.usb)


def test_as_many_alike_as_ttys_are_the_same_devices() -> None:
    """Two bridges, two ttys: which has which is not known, and there are not four."""
    evidence = read(TWO.format("10c4:ea60").encode()).evidence
    assert known(evidence.usb)
    assert [(one.vid, one.pid, known(one.devnum)) for one in evidence.usb] == [("10c4", "ea60", False)] * 2
    ttys = [tty for one in evidence.usb if known(one.interfaces) for part in one.interfaces for tty in part.ttys or []]
    assert ttys == ["ttyUSB0", "ttyUSB1"]


def test_different_ones_are_not_taken_for_each_other() -> None:
    """Which bridge made which tty is not told."""
    evidence = read(TWO.format("0403:6001").encode()).evidence
    assert known(evidence.usb)
    assert {one.vid for one in evidence.usb if known(one.vid)} == {"10c4", "0403"}
    assert all(known(one.devnum) for one in evidence.usb if known(one.vid))


def test_the_printer_driver_binds() -> None:
    """drivers/usb/class/usblp.c says it when it has the interface."""
    line = (
        "[ 61.22] usblp 1-1.4:1.0: usblp0: USB Bidirectional printer dev 5 if 0 alt 0 proto 2 vid 0x1209 pid 0x7A0B\n"
    )
    devices = read(line.encode()).evidence.usb
    assert known(devices)
    (found,) = devices
    assert (found.name, found.vid, found.pid, found.devnum) == ("1-1.4", "1209", "7a0b", 5)
    assert known(found.interfaces)
    assert [one.driver for one in found.interfaces] == ["usblp"]


def test_a_tty_has_one_device() -> None:
    """A log of another machine, or one with a hole: what had the tty before another got it is not there any more."""
    line = (
        "[ {0}.1] usb {1}: new full-speed USB device number {0} using xhci_hcd\n"
        "[ {0}.2] usb {1}: New USB device found, idVendor=1209, idProduct=7a01\n"
        "[ {0}.3] usb {1}: ch341-uart converter now attached to {2}\n"
    )
    both = line.format(20, "3-1", "ttyUSB0") + "\n$ dmesg | tail\n" + line.format(9, "1-4", "{}")
    for tty, names in (("ttyUSB0", ["1-4"]), ("ttyUSB1", ["1-4", "3-1"])):
        devices = read(both.format(tty).encode(), 1_000_000.0).evidence.usb
        assert isinstance(devices, list)
        assert sorted(one.name for one in devices) == names
