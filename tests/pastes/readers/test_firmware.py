"""What chips say of themselves through a port.  The texts are from memory of the programs, see the reader."""

from __future__ import annotations

import pytest

from radiocheck.evidence.serial import AppMessage

from .said import typed, values

NODE = "/dev/ttyUSB0"
MENU = "Serial Boot loader v2.1.0\n1. upload gbl\n2. run\n3. ebl info\nBL > "
FAILED = "A fatal error occurred: Failed to connect to ESP32: "
WRONG = FAILED + "Wrong boot mode detected (0x13)! The chip needs to be in download mode.\n"
DEAF = FAILED + "Download mode successfully detected, but getting no sync reply: The serial TX path seems to be down.\n"


def said(text: str) -> list[AppMessage]:
    """Messages."""
    found: list[AppMessage] = values("firmware", text, "app")
    return found


def kinds(text: str) -> list[str]:
    """Kinds of messages."""
    return [one.kind for one in said(text)]


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        (WRONG, "application"),
        (DEAF, "deaf-boot-loader"),
        ("invalid header: 0xffffffff\n", "no-application"),
        ("flash read err, 1000\n", "no-application"),
        ("E (66) boot: No bootable app partitions in the partition table\n", "no-application"),
        ("E: Unable to find bootable image\n", "no-application"),
        ("1. upload ebl\n", "boot-loader"),
    ],
)
def test_states(line: str, kind: str) -> None:
    """Each is of the port that was named last."""
    (found,) = said(typed(f"terminal -b 115200 {NODE}", line))
    assert (found.kind, found.path, found.text) == (kind, NODE, line.strip())


@pytest.mark.parametrize(
    "after",
    [
        "2\n\n" + MENU,
        "run\nSerial Boot loader v2.1.0\n1. upload gbl\n",
        "\n(I press 2, same menu comes again)\n",
        "\nWith 2 it is back in the boot loader at once.\n",
        "\n2 drücken: wieder das Menü\n",
    ],
)
def test_a_boot_loader_that_comes_back(after: str) -> None:
    """It was told to start the application."""
    assert kinds(MENU + after)[:2] == ["boot-loader", "boot-loader-again"]
    assert said(MENU + after)[1].text == "1. upload gbl"


@pytest.mark.parametrize(
    "after",
    [
        "",
        "1\nbegin upload\n",
        "\nI press 1 and upload, and then the menu comes again.\n",
        "\nIf I press 2, will the same menu come again?\n",
        "\n" * 12 + "I press 2, same menu again\n",
    ],
)
def test_a_boot_loader_that_may_be_left(after: str) -> None:
    """Somebody went into it, uploads, or asks."""
    assert kinds(MENU + after) == ["boot-loader"]


@pytest.mark.parametrize(
    "fine", ["Chip is ESP32-D0WD (revision v1.0)", "Hash of data verified.", "Detecting chip type... ESP32"]
)
def test_it_answers_later(fine: str) -> None:
    """A later success takes it back; one that came first does not, and is no message at all."""
    assert kinds(WRONG + fine) == ["application", "answered"]
    assert kinds(fine + "\n" + WRONG) == ["application"]
    assert kinds(MENU + "1\nbegin upload\nSerial upload complete\n" + MENU) == [
        "boot-loader",
        "answered",
        "boot-loader",
    ]


@pytest.mark.parametrize(
    "line",
    [
        "rst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)",
        "waiting for download",
        "A fatal error occurred: Failed to connect to ESP32: No serial data received.",
        "A fatal error occurred: Could not open /dev/ttyUSB0, the port is busy or doesn't exist.",
        "Wrong boot mode detected is what the FAQ calls it",
        "If it says Failed to connect to ESP32: Wrong boot mode detected (0x13)! press BOOT",
        "avrdude: stk500_recv(): programmer is not responding",
        "ERROR: Timeout waiting for ACK/NACK after 'Synch (0x55 0x55)'",
        "U-Boot 2020.04 (Apr 13 2020)",
        "Image invalid header: 0x12 in table",
    ],
)
def test_what_names_no_state(line: str) -> None:
    """A healthy start, no answer at all, and people who explain."""
    assert said(line + "\n") == []
