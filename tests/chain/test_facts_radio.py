"""What a paste's words about the firmware behind a port come to."""

from __future__ import annotations

import pytest

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import headline
from radiocheck.cli.judging import answer

from . import machines as m

RULES = load([shipped()])
LOG = (
    "[ 12.1] usb 1-6: New USB device found, idVendor=10c4, idProduct=ea60, bcdDevice= 1.00\n"
    "[ 12.2] usb 1-6: cp210x converter now attached to ttyUSB0\n"
)
PORT = "$ terminal -b 115200 /dev/ttyUSB0\n"
MENU = f"{PORT}Serial Boot loader v2.1.0\n1. upload gbl\n2. run\nBL > "
SILENT = "2026-11-25 12:00:00 ERROR /dev/ttyUSB0: no response from the adapter\n"
FAILED = "A fatal error occurred: Failed to connect to ESP32: "
WRONG = f"Serial port /dev/ttyUSB0\n{FAILED}Wrong boot mode detected (0x13)! The chip needs to be in download mode.\n"
CODED = f"received: {bytes(one | 128 * (one.bit_count() % 2) for one in b'/ABC5METER1.0' + bytes((13, 10)))!r}\n"


def verdict(text: str) -> tuple[str, str | None, str | None]:
    """State, step and the rule that is named first."""
    report = answer(text.encode(), "case", RULES, reasons=False).report
    return report.verdict.state, report.verdict.step, headline(report.chains[0]) if report.chains else None


@pytest.mark.parametrize(
    ("text", "state", "rule"),
    [
        (LOG + WRONG, "broken", "boot-loader-not-entered"),
        (LOG + MENU + "2\nSerial Boot loader v2.1.0\n1. upload gbl\n", "broken", "stays-in-boot-loader"),
        (LOG + SILENT + MENU, "weak", "boot-loader-answers"),
        (LOG + PORT + "invalid header: 0xffffffff\n", "broken", "no-application-in-flash"),
        (
            f"{LOG}{PORT}{FAILED}Download mode successfully detected, but getting no sync reply: The serial TX path\n",
            "broken",
            "boot-loader-hears-nothing",
        ),
        (LOG + PORT + CODED, "broken", "parity-bit-in-bytes"),
        (WRONG, "broken", "boot-loader-not-entered"),
    ],
)
def test_what_names_its_state(text: str, state: str, rule: str) -> None:
    """Each with the rule that tells it; also without a log."""
    assert verdict(text) == (state, "radio", rule)


@pytest.mark.parametrize(
    "text",
    [
        LOG + SILENT,
        LOG + MENU,
        LOG + MENU + "1\nbegin upload\n" + SILENT,
        LOG + WRONG + "Chip is ESP32-D0WD (revision v1.0)\n",
        LOG + PORT + "rst:0x1 (POWERON_RESET),boot:0x13 (SPI_FAST_FLASH_BOOT)\n",
        LOG + PORT + CODED + "received: b'/ABC5METER1.0\\r\\n'\n",
    ],
)
def test_what_does_not(text: str) -> None:
    """No answer alone, a menu that somebody went into, an upload that fails, a later success."""
    assert verdict(text)[1] != "radio"


def test_another_port() -> None:
    """What came out of another port is told of that one."""
    report = answer((LOG + WRONG.replace("ttyUSB0", "ttyUSB3")).encode(), "case", RULES, reasons=False).report
    assert [one.adapter.tty for one in report.chains if one.step == "radio"] == ["ttyUSB3"]


def test_who_keeps_it_counts_more() -> None:
    """A port that somebody else has is no matter of the firmware."""
    busy = "$ terminal /dev/ttyUSB0\nFATAL: cannot open /dev/ttyUSB0: Device or resource busy\n"
    assert verdict(LOG + busy + WRONG)[1] == "access"


def test_a_live_machine_has_no_such_words() -> None:
    """No port is opened, and nothing follows."""
    step = next(one for one in judge(m.native(), RULES).chains[0].steps if one.step == "radio")
    assert step.state == "unseen"
    assert {one.result for one in step.findings} == {"clear"}
