"""What tells that a program has its device, and what only sounds like it."""

from __future__ import annotations

import pytest

from .said import values

SIGNS = {
    "Mar 09 10:02:31 gable nut-monitor[513]: Communications with UPS ups@localhost established": "ups",
    "Using subdriver: MGE HID 1.46": "ups",
    "ups.status: OL CHRG": "ups",
    "avrdude: 924 bytes of flash verified": "avrdude",
    "avrdude: Device signature = 0x1e950f (probably m328p)": "avrdude",
    "Chip is ESP32-D0WDQ6 (revision 1)": "esptool",
    "Info : JTAG tap: chip.cpu tap/device found: 0x3ba00477 (mfg: 0x23b (ARM Ltd), part: 0xba00, ver: 0x3)": "openocd",
    "Download done.": "dfu",
}
NONE = (
    "upsd[503]: Startup successful",  # before any driver is there
    "Communications with UPS ups@localhost lost",
    "ups.status: WAIT",
    "avrdude: Device signature = 0x000000",
    "Error: could not open serial port /dev/ttyUSB0",
    "portd[4]: serial port /dev/ttyUSB0 could not be opened",
    "I hope that a connection established by hand stays",
)


@pytest.mark.parametrize("text", SIGNS)
def test_signs(text: str) -> None:
    """Each program's own words, with its family."""
    (found,) = values("worked", text, "worked")
    assert found["family"] == SIGNS[text]


@pytest.mark.parametrize("text", NONE)
def test_no_signs(text: str) -> None:
    """Words that a program says without its device, too."""
    assert values("worked", text, "worked") == []


def test_a_program_of_no_family() -> None:
    """Its name and the node tie it to its refusal."""
    (found,) = values("worked", "portd[4]: serial port /dev/ttyUSB0 opened", "worked")
    assert (found["program"], found["path"]) == ("portd", "/dev/ttyUSB0")
    (found,) = values("worked", "2026-01-01 10:00:00 INFO Successfully connected to /dev/ttyACM0", "worked")
    assert found["path"] == "/dev/ttyACM0"
