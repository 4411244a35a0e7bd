"""Links under /dev/serial/by-id: who wants them, and that what they lead to is there."""

from __future__ import annotations

import pytest

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.pastes.merge import read

from .readers.said import typed

SERIAL = "Lindenhof_Mesh_stick_0001"
ROW = f"lrwxrwxrwx 1 root root 13 Nov 25 12:00 usb-{SERIAL}-if00-port0 -> ../../ttyUSB1\n"
OTHER = ROW.replace("if00", "if01").replace("USB1", "USB0")
FOLDER = typed("ls -l /dev/serial/by-id/", "total 0\n" + ROW)
NODE = "crw-rw---- 1 root dialout 188, {0} Nov 25 12:00 /dev/ttyUSB{0}\n"
NODES = typed("ls -l /dev/ttyUSB*", NODE.format(0) + NODE.format(1))
ASKED = "".join(
    typed(f"udevadm info -q property -n /dev/ttyUSB{at} | grep SERIAL", f"ID_SERIAL={SERIAL}\nID_SERIAL_SHORT=0001\n")
    for at in (0, 1)
)
ENTRY = """P: /devices/pci0000:00/0000:00:14.0/usb1/1-{0}/1-{0}:1.0/ttyUSB{0}/tty/ttyUSB{0}
N: ttyUSB{0}
E: SUBSYSTEM=tty
E: ID_SERIAL=Lindenhof_Mesh_stick_0001
"""
ENTRIES = "".join(typed(f"udevadm info /dev/ttyUSB{at}", ENTRY.format(at)) for at in (0, 1))


def evidence(text: str) -> Evidence:
    """What a paste says."""
    return read(text.encode(), 1_000_000.0).evidence


def claimants(text: str) -> list[list[str]]:
    """Who wants each link, where that is known."""
    links = evidence(text).links
    return [one.claimants for one in links if known(one.claimants)] if known(links) else []


SHARED = {
    "picked out with grep": FOLDER + NODES + ASKED,
    "in another order": ASKED + NODES + FOLDER,
    "whole entries": FOLDER + NODES + ENTRIES,
    "without a prompt": f"total 0\n{ROW}\n" + NODES + ASKED,
    "below a heading": f"/dev/serial/by-id:\ntotal 0\n{ROW}\n" + NODES + ASKED,
    "by the name of the option": FOLDER + NODES + ASKED.replace("-n /dev/", "--name="),
}


SOCKET = "lrwxrwxrwx 1 root root 13 Nov 25 12:00 pci-0000:00:14.0-usb-0:{1}:1.0-port0 -> ../../ttyUSB{0}\n"
SOCKETS = typed("ls -l /dev/serial/by-path/", "total 0\n" + SOCKET.format(0, "2") + SOCKET.format(1, "6"))
LOOP = "for i in 0 1; do udevadm info -q property -n /dev/ttyUSB$i | grep -E 'SERIAL_SHORT|^ID_PATH='; done"
NUMBERED = "ID_PATH=pci-0000:00:14.0-usb-0:{}:1.0\nID_SERIAL_SHORT={}\n"
LOGGED = """[ {0}.1] usb 1-{1}: new full-speed USB device number {0} using xhci_hcd
[ {0}.2] usb 1-{1}: New USB device found, idVendor=10c4, idProduct=ea60
[ {0}.3] usb 1-{1}: SerialNumber: {2}
[ {0}.4] usb 1-{1}: cp210x converter now attached to ttyUSB{3}
"""
BOTH = LOGGED.format(4, 2, "0001", 0) + LOGGED.format(5, 6, "0001", 1)
SHARED |= {
    "in a loop": FOLDER + SOCKETS + typed(LOOP, NUMBERED.format(2, "0001") + NUMBERED.format(6, "0001")),
    "by the log": FOLDER + typed("sudo dmesg", BOTH),
}


@pytest.mark.parametrize("text", SHARED.values(), ids=SHARED)
def test_two_that_want_one_name(text: str) -> None:
    """One link in the whole folder, two ttys at once with the serial number that is in it."""
    assert claimants(text) == [["ttyUSB0", "ttyUSB1"]]


NOT_SHARED = {
    "two ports of one adapter": typed("ls -l /dev/serial/by-id/", "total 0\n" + ROW + OTHER) + NODES + ASKED,
    "a link that was picked out": typed("ls -l /dev/serial/by-id/ | grep Mesh", ROW) + NODES + ASKED,
    "a link without its folder": ROW + NODES + ASKED,
    "one after the other": FOLDER
    + typed("ls -l /dev/ttyUSB*", NODE.format(0))
    + typed("ls -l /dev/ttyUSB*", NODE.format(1))
    + ASKED,
    "other serial numbers": FOLDER + NODES + ASKED.replace("_0001", "_0002", 1),
    "one tty": FOLDER + NODES + ASKED.rpartition("mira@")[0],
    "no serial number": FOLDER + NODES,
}


CONF = "port = /dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0\n"
NOT_SHARED |= {
    "other numbers in a loop": FOLDER + SOCKETS + typed(LOOP, NUMBERED.format(2, "0001") + NUMBERED.format(6, "0002")),
    "a loop without the sockets": FOLDER + typed(LOOP, NUMBERED.format(2, "0001") + NUMBERED.format(6, "0001")),
    "other numbers in the log": FOLDER + typed("sudo dmesg", BOTH.replace("0001", "0002", 1)),
    "one left in the log": FOLDER + typed("sudo dmesg", BOTH + "[ 9.1] usb 1-2: USB disconnect, device number 4\n"),
    "a program that goes by the socket, and udev's entries": FOLDER + NODES + ASKED + typed("cat meter.conf", CONF),
    "a program that goes by the socket": FOLDER + typed("sudo dmesg", BOTH) + typed("cat meter.conf", CONF),
}


@pytest.mark.parametrize("text", NOT_SHARED.values(), ids=NOT_SHARED)
def test_what_may_be_one_adapter(text: str) -> None:
    """Two ports have a link each, and after a replug another number."""
    assert claimants(text) == []


def ttys(text: str) -> list[str]:
    """The ttys that are there."""
    found = evidence(text).ttys
    return [one.name for one in found] if known(found) else []


def test_a_link_alone_tells_of_a_tty() -> None:
    """udev takes the link away with the tty."""
    assert ttys(FOLDER) == ["ttyUSB1"]
    assert [one.name for one in evidence(FOLDER).usb or []] == ["the port of ttyUSB1"]


@pytest.mark.parametrize(
    "text",
    [
        "[ 12.1] usb 1-2: USB disconnect, device number 5\n",
        typed("./reader", "could not open port /dev/ttyUSB1: [Errno 2] No such file or directory: '/dev/ttyUSB1'\n"),
        typed("ls /dev/ttyUSB* /dev/ttyACM*", "ls: cannot access '/dev/ttyUSB*': No such file or directory\n" * 2),
        typed("ls -l /dev/serial/by-id/", "ls: cannot access '/dev/serial/by-id/': No such file or directory\n"),
    ],
)
def test_a_link_of_another_moment_does_not(text: str) -> None:
    """What was unplugged since has a link in the list before."""
    assert "ttyUSB1" not in ttys(FOLDER + text.replace("USB* /dev", "USB* /dev"))
