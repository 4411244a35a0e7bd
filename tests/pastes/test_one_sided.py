"""Excerpts that leave out success."""

from __future__ import annotations

import pytest

from radiocheck.pastes.line import lines
from radiocheck.pastes.one_sided import one_sided

ERROR = "[    2.203114] usb 1-9: device descriptor read/64, error -71"


def sided(command: str, *rows: str) -> frozenset[int]:
    """The lines of one excerpt, with a list behind it."""
    text = "\n".join((f"$ {command}", *rows, "$ lsusb", "Bus 001 Device 005: ID 1209:7a01 Mesh stick"))
    return one_sided(lines(text.encode()))


@pytest.mark.parametrize(
    "command",
    [
        "sudo dmesg | grep -i error",
        "dmesg | grep -iE 'fail|error|warn'",
        "journalctl -p 3 -b",
        "journalctl -b --priority=err",
        "dmesg --level=err,warn",
        "journalctl -k -g descriptor",
    ],
)
def test_only_errors_were_asked_for(command: str) -> None:
    """A device that came up after all would not show."""
    assert sided(command, ERROR) == {2}


@pytest.mark.parametrize(
    "command",
    ["dmesg | grep usb", "dmesg | grep -i 'usb 1-9'", "dmesg | tail -20", "journalctl -k", "dmesg | grep -v error"],
)
def test_all_of_a_device_was_asked_for(command: str) -> None:
    """What came after the error would show."""
    assert not sided(command, ERROR)


def test_the_kernel_gave_up() -> None:
    """That is printed as an error, too: nothing came after it."""
    assert not sided("dmesg | grep -i -e error -e unable", ERROR, "usb usb1-port9: unable to enumerate USB device")
