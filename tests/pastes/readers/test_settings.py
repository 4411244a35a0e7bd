"""Configuration files of invented programs, beside lists of nodes."""

from __future__ import annotations

import pytest

from radiocheck.evidence.serial import AppMessage

from .said import typed, values

SETTINGS = [
    "serial: /dev/ttyUSB0",
    "  serial_port: '/dev/ttyUSB0'  # the reader",
    "- port: /dev/ttyUSB0",
    'DEVICES="/dev/ttyUSB0"',
    "port = /dev/ttyUSB0",
    "port=/dev/ttyUSB0 ; left socket",
    '  "device": "/dev/ttyUSB0",',
    '"serialport": "/dev/ttyUSB0"',
    "export READER_TTY=/dev/ttyUSB0",
    "modbus.device.path = /dev/ttyUSB0",
    "puerto = /dev/ttyUSB0",
    "porta: /dev/ttyUSB0",
    "порт=/dev/ttyUSB0",
    "Anschluss = /dev/ttyUSB0",
    "ExecStart=/usr/bin/reader --port /dev/ttyUSB0 --baud 9600",
    "ExecStart=/usr/bin/reader -v -p /dev/ttyUSB0",
]
NODE = "crw-rw---- 1 root dialout 188, 1 Nov 25 12:00 /dev/ttyUSB1\n"
THERE = NODE.replace("USB1", "USB0").replace("188, 1", "188, 0")
LIST = typed("ls -l /dev/ttyUSB*", NODE)


def said(text: str) -> list[AppMessage]:
    """Messages."""
    found: list[AppMessage] = values("settings", text, "app")
    return found


@pytest.mark.parametrize("line", SETTINGS)
def test_a_port_that_a_list_lacks(line: str) -> None:
    """YAML, INI, shell, JSON, a unit's command; the list was made of all nodes of that kind."""
    (found,) = said(line + "\n" + LIST)
    assert (found.kind, found.path, found.text) == ("missing", "/dev/ttyUSB0", line.strip())
    assert len(said(LIST + typed("cat reader.conf", line + "\n"))) == 1


@pytest.mark.parametrize(
    "shown",
    [
        "ls: cannot access '/dev/ttyUSB0': No such file or directory\n",
        "ls: Zugriff auf '/dev/ttyUSB0' nicht möglich: Datei oder Verzeichnis nicht gefunden\n",
        "ls: cannot access '/dev/ttyUSB*': No such file or directory\n",
        "stat: cannot statx '/dev/ttyUSB0': No such file or directory\n",
        typed("ls /dev/ttyUSB* /dev/ttyACM*", "/dev/ttyUSB1  /dev/ttyUSB2\n"),
        typed("ls -l /dev/tty*", THERE.replace("USB0", "USB00").replace("USB00", "USB4")),
    ],
)
def test_what_shows_that_it_is_missing(shown: str) -> None:
    """`ls` of it, or of all."""
    assert [one.path for one in said(SETTINGS[0] + "\n" + shown)] == ["/dev/ttyUSB0"]


@pytest.mark.parametrize(
    "shown",
    [
        "",
        typed("ls -l /dev/ttyUSB*", THERE + NODE),
        typed("ls -l /dev/ttyUSB1", NODE),
        typed("ls -l /dev/ttyUSB* | grep 1", NODE),
        typed("ls -l /dev/ttyACM*", NODE.replace("USB1", "ACM0")),
        LIST + typed("ls -l /dev/ttyUSB*", THERE),
        "ls: cannot access '/dev/ttyUSB0': No such file or directory\n" + THERE,
        LIST + "[ 12.1] usb 1-2: cp210x converter now attached to ttyUSB0\n",
        "ls: cannot access '/dev/ttyUSB01': No such file or directory\n",
        "ls: cannot open directory '/dev/ttyUSB0': Permission denied\n",
    ],
)
def test_where_it_may_be_there(shown: str) -> None:
    """No list, one of other nodes, a filter, or it came later."""
    assert said(SETTINGS[0] + "\n" + shown) == []


@pytest.mark.parametrize(
    "line",
    [
        "# serial: /dev/ttyUSB0",
        ";port = /dev/ttyUSB0",
        "//port: /dev/ttyUSB0",
        "I set port: /dev/ttyUSB0 in the config, and it fails",
        "Opening port: /dev/ttyUSB0 ... ok",
        "Restart=always /dev/ttyUSB0",
        "port: /dev/ttyUSB0 or /dev/ttyUSB1?",
        "mira@gable:~$ reader --port /dev/ttyUSB0",
        "N: /dev/ttyUSB0",
        "E: DEVNAME=/dev/ttyUSB0",
    ],
)
def test_what_is_no_setting(line: str) -> None:
    """Comments, prose, logs; a command tells itself what became of it."""
    assert said(line + "\n" + LIST) == []
