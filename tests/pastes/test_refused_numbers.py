"""Refusals that name a device by its number, and lines that name it by IDs."""

from __future__ import annotations

import pytest

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.pastes.merge import read

RULES = load([shipped()])
LINE = "exec qemu-system-x86_64 -m 2048 -device qemu-xhci -device usb-host,vendorid=0x0403,productid=0x6014\n"
REFUSED = "$ ./run.sh\nlibusb: error [get_usbfs_fd] libusb couldn't open USB device /dev/bus/usb/001/011, errno=13\n"


@pytest.mark.parametrize(
    ("text", "step"),
    [
        (LINE + REFUSED, "access"),
        (LINE + REFUSED + "$ lsusb\nBus 001 Device 011: ID 0403:6014 FT232H\n", "access"),
        (LINE + REFUSED + "$ lsusb\nBus 001 Device 011: ID 1209:7a01 Mesh stick\n", None),
        (LINE + LINE.replace("6014", "6001") + REFUSED, None),
    ],
)
def test_whose_number_it_is(text: str, step: str | None) -> None:
    """That of the device that has it, if it is shown; else of the only line."""
    assert judge(read(text.encode()).evidence, RULES).verdict.step == step
