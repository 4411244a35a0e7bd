"""A refusal that a later line ends counts no more; one that came back, or was only got around, does."""

from __future__ import annotations

import time

import pytest

from radiocheck.pastes.merge import read

from .readers.said import typed

DENIED = 'avrdude: ser_open(): can\'t open device "/dev/ttyUSB0": Permission denied\n'
FLASHED = "avrdude: AVR device initialized and ready to accept instructions\navrdude: 924 bytes of flash verified\n"
FLASH = "avrdude -c arduino -p m328p -P /dev/ttyUSB0"
TRACE = "serial.serialutil.SerialException: [Errno 13] could not open port /dev/ttyUSB0: [Errno 13] Permission denied\n"
UPS = "libusb1: Could not open any HID devices: insufficient permissions on everything\n"
ID = "uid=1000(mira) gid=1000(mira) groups=1000(mira){}\n"
FAILED = "● portd.service - Ports\n     Active: failed (Result: exit-code) since Sat\n\n"
RUNS = "\n● portd.service - Ports\n     Active: active (running) since Sat 2024-03-09 10:02:28 CET; {} ago\n"
OWN = "crw-rw---- 1 root root 188, 0 Jul 21 10:15 /dev/ttyUSB0\n"
NODE = "crw-rw---- 1 root dialout 188, 0 Jul 21 10:15 /dev/ttyUSB0\n"


def over(text: str) -> list[bool]:
    """For each refusal of a paste, whether it is over."""
    evidence = read(text.encode(), now=0.0).evidence
    return [one.over for one in evidence.app_messages]


def log(at: int, who: str, text: str) -> str:
    """A line of the journal."""
    return f"Mar 09 10:02:{at:02} gable {who}[{300 + at}]: {text}\n"


ENDED = {
    "the same program": typed(FLASH, DENIED) + "In the group now.\n" + typed(FLASH, FLASHED),
    "quoted below the answer": typed(FLASH, FLASHED) + "\nMats wrote:\n> $ " + FLASH + "\n> " + DENIED,
    "quoted above": "> $ " + FLASH + "\n> " + DENIED + "\nLogged in anew:\n" + typed(FLASH, FLASHED),
    "the same command": typed("python3 poll.py", TRACE) + typed("python3 poll.py", "21.5 C\n21.4 C\n"),
    "pasted twice": 2 * (typed(FLASH, DENIED) + typed(FLASH, FLASHED)),
    "a daemon that is started anew": log(3, "nut-driver@ups", UPS.strip())
    + log(16, "upsd", "Startup successful")
    + log(31, "nut-monitor", "Communications with UPS ups@localhost established"),
    "its client": typed("upsdrvctl start", UPS) + typed("upsc shed", "battery.charge: 100\nups.status: OL\n"),
    "a unit that had failed": FAILED + log(3, "portd", "cannot open /dev/ttyUSB0: Permission denied")
    + RUNS.format("29min"),
    "another group": typed("id", ID.format("")) + typed("python3 poll.py", TRACE)
    + typed("ls -l /dev/ttyUSB0", NODE) + typed("id", ID.format(",20(dialout)")),
    "another node": typed("id", ID.format(",20(dialout)")) + typed("ls -l /dev/ttyUSB0", OWN)
    + typed("python3 poll.py", TRACE) + "Plugged again:\n" + typed("ls -l /dev/ttyUSB0", NODE),
}  # fmt: skip
NOT_ENDED = {
    "alone": typed(FLASH, DENIED),
    "with sudo": typed(FLASH, DENIED) + typed(f"sudo {FLASH}", FLASHED),
    "as root": typed(FLASH, DENIED) + f"root@gable:~# {FLASH}\n{FLASHED}",
    "after chmod": typed(FLASH, DENIED) + typed("sudo chmod 666 /dev/ttyUSB0", "") + typed(FLASH, FLASHED),
    "it worked before": typed(FLASH, FLASHED) + "Since the update:\n" + typed(FLASH, DENIED),
    "at every start": "After every reboot:\n" + typed(FLASH, DENIED) + "Replugged:\n" + typed(FLASH, FLASHED),
    "another program": typed("python3 poll.py", TRACE) + typed("upsc shed", "ups.status: OL\n"),
    "another port": typed(FLASH, DENIED) + typed(FLASH.replace("USB0", "ACM1"), FLASHED),
    "the same command fails otherwise": typed("python3 poll.py", TRACE) + typed("python3 poll.py", "Error: no frame\n"),
    "said to be the same": typed("python3 poll.py", TRACE) + typed("python3 poll.py", "(still the same)\n"),
    "quoted above what is wrong now": "> " + FLASHED + "\n" + typed(FLASH, DENIED),
    "a daemon that runs without its device": RUNS.format("2h")
    + log(3, "portd", "cannot open /dev/ttyUSB0: Permission denied"),
    "a unit that has just been started": FAILED + log(3, "portd", "cannot open /dev/ttyUSB0: Permission denied")
    + RUNS.format("2s"),
    "a group in the database only": typed("id", ID.format("")) + typed("python3 poll.py", TRACE)
    + typed("ls -l /dev/ttyUSB0", NODE) + typed("id mira", ID.format(",20(dialout)")),
    "rights that always fitted": typed("python3 poll.py", TRACE) + typed("ls -l /dev/ttyUSB0", NODE)
    + typed("id", ID.format(",20(dialout)")),
}  # fmt: skip


@pytest.mark.parametrize("name", ENDED)
def test_ended(name: str) -> None:
    """The program, or one of its family, has its device later."""
    found = over(ENDED[name])
    assert found
    assert all(found)


@pytest.mark.parametrize("name", NOT_ENDED)
def test_not_ended(name: str) -> None:
    """What works only by another right, elsewhere or for a moment ends nothing."""
    found = over(NOT_ENDED[name])
    assert found
    assert not any(found)


def test_it_came_back() -> None:
    """Refused, served, and refused anew: the first refusal counts still."""
    text = log(1, "nut-driver@ups", UPS.strip()) + log(2, "upsd", "Connected to UPS [ups]: usbhid-ups-ups")
    assert over(text + text.replace("10:02", "10:09")) == [False, True]


def test_time_is_proportional() -> None:
    """A long log of refusals and successes is no reason to wait."""
    text = "".join(
        log(at % 60, "upsd", UPS.strip()) + log(at % 60, "upsd", "Connected to UPS [a]: b") for at in range(9000)
    )
    began = time.monotonic()
    over(text)
    assert time.monotonic() - began < 20
