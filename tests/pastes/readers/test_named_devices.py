"""What a remote desktop's client and the daemon of card readers print of a device, from memory of their sources."""

from __future__ import annotations

import pytest

from .said import values


@pytest.mark.parametrize(
    ("line", "number"),
    [
        ("Could not redirect Lindenhof Mesh stick [1209:7a01] at 1-6: Error setting USB device node ACL: 'x'", 6),
        ("00000008 readerfactory.c:1136:RFInitializeReader() Open Port 0x200000 Failed "
         "(usb:1209/7a01:libudev:0:/dev/bus/usb/001/005)", 5),
    ],
)  # fmt: skip
def test_ids_and_place(line: str, number: int) -> None:
    """Bus and number stand beside the IDs."""
    assert values("named_devices", line, "device") == [{"bus": 1, "devnum": number, "vid": "1209", "pid": "7a01"}]


@pytest.mark.parametrize(
    "line", ["[1209:7a01] at 1-6.2", "[1209:7a01] at home", "usb:1209/7a01:libudev:0:/dev/bus/usb/001/"]
)
def test_what_is_cut_or_another_place(line: str) -> None:
    """A port's path is no number, and half a node is none."""
    assert values("named_devices", line, "device") == []
