"""Modules that a pasted setting keeps out, and the devices that wait for them."""

from __future__ import annotations

import pytest

from radiocheck.chain.subjects import subjects
from radiocheck.pastes.merge import read

LIST = "/:  Bus 01.Port 1: Dev 1, Class=root_hub, Driver=xhci_hcd/12p, 480M\n"
SOUND = (
    "    |__ Port 2: Dev 5, If 0, Class=Audio, Driver=, 12M\n    |__ Port 2: Dev 5, If 1, Class=Audio, Driver=, 12M\n"
)
CAMERA = "    |__ Port 8: Dev 2, If 0, Class=Video, Driver=uvcvideo, 480M\n"
DARK = "    |__ Port 8: Dev 2, If 0, Class=Video, Driver=, 480M\n"
BRIDGE = "    |__ Port 3: Dev 6, If 0, Class=Vendor Specific Class, Driver=cp210x, 12M\n"
FILE = "/etc/modprobe.d/99-local.conf:2:blacklist {}\n"


def about(text: str) -> list[str]:
    """The devices that get a chain."""
    return [one.device.name for one in subjects(read(text.encode(), 1_000_000.0).evidence) if one.device is not None]


def test_a_device_that_waits_for_it() -> None:
    """A sound device without a driver, beside a camera with one."""
    assert about(LIST + SOUND + CAMERA + FILE.format("snd_usb_audio")) == ["1-2"]


@pytest.mark.parametrize(
    "text",
    [
        LIST + SOUND + CAMERA,
        LIST + SOUND + CAMERA + FILE.format("usblp"),
        LIST + SOUND.replace("Driver=", "Driver=snd-usb-audio") + CAMERA + FILE.format("snd_usb_audio"),
        LIST
        + CAMERA
        + CAMERA.replace("If 0", "If 1").replace("Video, Driver=uvcvideo", "Audio, Driver=")
        + SOUND
        + FILE.format("cdc_acm"),
    ],
)
def test_what_waits_for_nothing(text: str) -> None:
    """No setting, one of another module, one that does no harm, a camera without its microphone."""
    assert about(text) == []


def test_another_adapter_is_the_matter() -> None:
    """A camera that somebody does without is not what a paste about a serial port is about."""
    rest = "[  9.1] usb 1-3: cp210x converter now attached to ttyUSB0\n"
    assert about(LIST + DARK + BRIDGE + FILE.format("uvcvideo") + rest) == ["1-3"]
