"""Several boots in one paste: which lines are of an earlier one, and that all else stays one boot."""

from __future__ import annotations

import pytest

from radiocheck.pastes.boots import earlier
from radiocheck.pastes.clock import RESTART, clocks, timed
from radiocheck.pastes.line import lines
from radiocheck.pastes.readers.kernel import read

OLD = """[   77.120330] usb 1-1: device descriptor read/64, error -110
[   77.300110] usb 1-1: device descriptor read/64, error -110
[   77.400110] usb usb1-port1: unable to enumerate USB device
"""
NEW = """[   15.880123] usb 1-1: new full-speed USB device number 2 using xhci_hcd
[   16.030201] usb 1-1: New USB device found, idVendor=1209, idProduct=7a01, bcdDevice= 1.00
[   16.036900] usb 1-1: cp210x converter now attached to ttyUSB0
"""
TAIL = "mira@gable:~$ dmesg | tail -n 3\n"
ERROR, ATTACHED = "unable to enumerate", "attached to"


def quoted(text: str, mark: str) -> str:
    """As a mail program quotes it."""
    return "".join(f"{mark}{row}\n" for row in text.splitlines())


def order(text: str) -> list[str]:
    """Kinds of the events, oldest first."""
    pieces = list(read(lines(text.encode())))
    return [one.event.kind for one in timed(pieces, clocks(pieces, 1_000_000.0))]


LATER = {
    "quoted less deep": quoted(OLD, "> > > ") + "> > too long a cable\n" + quoted("changed it:\n" + NEW, "> "),
    "one file": OLD + NEW,
    "one file, with the kernel's banner": OLD + "[    0.000000] Linux version 6.1.0 (x@y)\n" + NEW,
    "lines left out": OLD + "[...]\n" + NEW,
    "said to be now": OLD + "\nI took another cable, now:\n\n" + NEW,
    "said to be after the restart": OLD + "\nAnd after the reboot:\n" + NEW,
    "said in front of the prompt": OLD + "\nAfter a restart it is there:\n" + TAIL + NEW,
    "German": OLD + "\nnach einem Neustart\n" + NEW,
    "the machine was restarted": TAIL
    + OLD
    + "mira@gable:~$ sudo reboot\n"
    + TAIL.replace("tail -n 3", "grep 1-1")
    + NEW,
    "the end of the log lies before": TAIL + OLD + TAIL + NEW,
    "journalctl of the boot before": "$ journalctl -k -b -1\n" + OLD + "$ journalctl -k -b\n" + NEW,
    "with the time of the day": "".join(
        f"Nov 25 12:0{hour}:00 gable kernel: {row}\n"
        for hour, part in enumerate((OLD, NEW))
        for row in part.splitlines()
    ),
}


@pytest.mark.parametrize("text", LATER.values(), ids=LATER)
def test_a_later_boot(text: str) -> None:
    """Its seconds are fewer, and its words are the last ones."""
    kinds = order(text)
    assert kinds[-1] == "attached", kinds
    assert kinds.index("gave-up") < kinds.index("new-device")


EARLIER = {
    "the older part below, quoted": NEW.replace("[   1", "[    ") + quoted(OLD, "> "),
    "the boot before": "$ journalctl -k\n" + NEW + "$ journalctl -k -b -1\n" + OLD,
    "said to be before the restart": NEW + "\nBefore the reboot it was like this:\n" + OLD,
    "yesterday": NEW + "\nyesterday I had\n" + OLD,
    "an older file": "".join(
        f"Nov {day} 12:00:00 gable kernel: {row}\n" for day, part in ((25, NEW), (24, OLD)) for row in part.splitlines()
    ),
}


@pytest.mark.parametrize("text", EARLIER.values(), ids=EARLIER)
def test_an_earlier_boot(text: str) -> None:
    """The newer part was pasted first."""
    kinds = order(text)
    assert kinds[0] == "descriptor-error", kinds
    assert kinds[-1] == "attached"


ONE = {
    "the tail, then a part of all": TAIL + OLD + "mira@gable:~$ dmesg | grep tty\n" + NEW,
    "the tail, then all": TAIL + OLD + "mira@gable:~$ dmesg\n" + NEW + OLD,
    "the newest first": "\n".join(reversed((NEW + OLD).splitlines())),
    "an empty line": OLD + "\n" + NEW,
    "words that say nothing": OLD + "\nand these lines, too\n" + NEW,
    "said to be of the start": OLD + "\nnow the messages at boot, which I noticed after rebooting:\n" + NEW,
    "said to be earlier": OLD + "\nearlier, before I changed the cable:\n" + NEW,
    "all of the log behind its end": OLD + "\nThe full dmesg now:\n\n" + NEW + OLD,
    "the older part quoted": OLD + quoted(NEW, "> "),
    "a wrapped line": OLD + "mira@gable:~$ dmesg | grep 1-1\n" + NEW.replace(" now", "\nnow"),
    "the turn of the year": "".join(
        f"{day} 00:00:00 gable kernel: {row}\n"
        for day, part in (("Dec 31", NEW), ("Jan  1", OLD))
        for row in part.splitlines()
    ),
    "processors out of order": OLD.replace("77.300110", "76.300110"),
    "the time of the day goes back with the seconds": "".join(
        f"Nov 25 12:0{hour}:00 gable kernel: {row}\n"
        for hour, part in ((5, OLD), (1, NEW))
        for row in part.splitlines()
    ),
}


@pytest.mark.parametrize("text", ONE.values(), ids=ONE)
def test_one_boot(text: str) -> None:
    """Seconds that step back in a paste mean nothing by themselves: people run dmesg twice."""
    assert earlier(lines(text.encode())) == {}


def test_three_boots() -> None:
    """Each ends before the next one starts; a message that two of them have is told for each."""
    first, second, third = (NEW.replace("[   1", f"[  {hundred}1") for hundred in (9, 5, 1))
    pieces = list(read(lines((first + second + third).encode())))
    assert {piece.value["clock"] for piece in pieces if piece.kind == "log"} == {"uptime", "uptime-1", "uptime-2"}
    found = clocks(pieces, 1_000_000.0)
    rows = timed(pieces, found)
    assert [one.event.kind for one in rows] == 3 * ["new-device", "found", "attached"]
    ats = [one.event.at for one in rows if one.event.at is not None]
    assert ats == sorted(ats)
    assert found.end == ats[-1] == 1_000_000.0
    start = found.shift["uptime"]
    assert ats[5] == pytest.approx(start - RESTART)


def test_boots_beside_a_date() -> None:
    """The boot that ends with the dates is the last one, and the others lie before it."""
    dated = "2026-11-25T12:00:00+00:00 gable kernel: usb 1-1: cp210x converter now attached to ttyUSB0\n"
    pieces = list(read(lines((OLD + NEW + "\n" + dated).encode())))
    rows = timed(pieces, clocks(pieces, 0.0))
    assert [one.event.kind for one in rows] == [
        "descriptor-error",
        "descriptor-error",
        "gave-up",
        "new-device",
        "found",
        "attached",
    ]


def test_only_the_last_boot_reaches_back_to_its_start() -> None:
    """What a log of an earlier boot has from its start on says nothing of how whole the last one is."""
    boot = "[    0.000000] Linux version 6.1.0 (x@y)\n" + "".join(f"[    1.{at:06}] pci: x\n" for at in range(120))
    told = {
        piece.value["clock"]: piece.value["from_boot"]
        for piece in read(lines((boot + OLD + "\nafter the reboot:\n" + NEW).encode()))
        if piece.kind == "log"
    }
    assert told == {"uptime-1": False, "uptime": False}
    told = {
        piece.value["clock"]: piece.value["from_boot"]
        for piece in read(lines((boot + OLD).encode()))
        if piece.kind == "log"
    }
    assert told == {"uptime": True}
