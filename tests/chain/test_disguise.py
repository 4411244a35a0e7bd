"""Modems that play a drive, and drives."""

from __future__ import annotations

import pytest

from radiocheck.chain.disguise import shown_as_drive
from radiocheck.pastes.merge import read

FOUND = """[  402.156074] usb 1-2: new high-speed USB device number 6 using ehci_hcd
[  402.290613] usb 1-2: New USB device found, idVendor=1209, idProduct=f000
"""
OLD = "[  402.293377] scsi7 : usb-storage 1-2:1.0\n"
NEW = """[  402.293377] usb-storage 1-2:1.0: USB Mass Storage device detected
[  402.293378] scsi host7: usb-storage 1-2:1.0
"""
DISC = "[  403.293802] scsi 7:0:0:0: CD-ROM            Lindenho Disk             2.31 PQ: 0 ANSI: 2\n"
ATTACHED = "[  403.302048] sr 7:0:0:0: Attached scsi CD-ROM sr0\n"
BESIDE = "[  410.1] usb 1-3: new high-speed USB device number 7 using ehci_hcd\n[  410.2] scsi8 : usb-storage 1-3:1.0\n"
LISTED = "Bus 001 Device 006: ID 1209:f000\n"


def shown(text: str, name: str = "1-2") -> str | None:
    """What shows that the device plays a drive."""
    evidence = read(text.encode(), 1_000_000.0).evidence
    assert isinstance(evidence.usb, list)
    device = next(one for one in evidence.usb if one.name == name)
    return shown_as_drive(evidence, device)


PLAYS = {
    "an old kernel": FOUND + OLD + DISC,
    "a new one": FOUND + NEW + DISC,
    "the drive's own line": FOUND + NEW + ATTACHED,
    "no lines of its IDs": LISTED + FOUND.partition("\n")[0] + "\n" + NEW + DISC,
    "a disk beside it": FOUND + OLD + DISC + BESIDE,
}
DOES_NOT = {
    "no disc": FOUND + OLD,
    "a drive for discs": FOUND + OLD + DISC.replace("Lindenho Disk", "Lindenho DVD-RAM") + ATTACHED,
    "a disc of another host": FOUND + OLD + DISC.replace("7:0:0:0", "2:0:0:0") + ATTACHED.replace("7:", "2:"),
    "switched over since": FOUND
    + OLD
    + DISC
    + FOUND.replace("number 6", "number 7").replace("f000", "f001")
    + "[  409.1] usb 1-2: GSM modem (1-port) converter now attached to ttyUSB0\n",
}


@pytest.mark.parametrize("text", PLAYS.values(), ids=PLAYS)
def test_a_modem_that_plays_a_drive(text: str) -> None:
    """A disc in a storage device that was just plugged in."""
    assert "CD-ROM" in str(shown(text))


@pytest.mark.parametrize("text", DOES_NOT.values(), ids=DOES_NOT)
def test_what_does_not(text: str) -> None:
    """Disks, real drives, and modems that were switched over."""
    assert shown(text) is None
