"""`lsof` 4.95 and `fuser` of psmisc 23.6, run here on a file that this process holds, put in a node's place."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from .said import said, typed, values


def handles(text: str) -> list[dict[str, Any]]:
    """Holders."""
    return values("holders", text, "handle")


def run(path: Path, *argv: str) -> str:
    """What a program says of an open file, as it would of a node; both its streams, as a terminal shows them."""
    ran = subprocess.run([*argv, str(path)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
    rows = [row.replace(str(path), "/dev/ttyUSB0").replace("REG  ", "CHR  ") for row in ran.stdout.splitlines()]
    return "\n".join(row for row in rows if "Cannot stat" not in row)


@pytest.mark.skipif(shutil.which("lsof") is None, reason="Debian's lsof is not installed")
def test_lsof_names_this_process(tmp_path: Path) -> None:
    """Command, number, user."""
    held = tmp_path / "held"
    with held.open("w"):
        found = handles(run(held, "lsof"))
    assert [(one["pid"], one["path"]) for one in found] == [(os.getpid(), "/dev/ttyUSB0")]
    assert found[0]["user"]


@pytest.mark.skipif(shutil.which("fuser") is None, reason="Debian's psmisc is not installed")
@pytest.mark.parametrize("options", [["-v"], []])
def test_fuser_names_this_process(tmp_path: Path, options: list[str]) -> None:
    """With -v a row per process, else numbers alone."""
    held = tmp_path / "held"
    with held.open("w"):
        found = handles(run(held, "fuser", *options))
    if not found:
        pytest.skip("fuser sees no process here")
    assert (found[0]["pid"], found[0]["path"]) == (os.getpid(), "/dev/ttyUSB0")
    assert ("command" in found[0]) == bool(options)


LSOF = """COMMAND   PID USER   FD   TYPE DEVICE SIZE/OFF    NODE NAME
tail    29350 root    3uW  CHR  188,0      0t0     577 /dev/ttyUSB0
ModemMana  700  709 gdbus    root   12u      CHR  188,0      0t0  577 /dev/ttyUSB0 (deleted)
ModemMana  700               root   12u      CHR  188,0      0t0  577 /dev/ttyUSB0 (deleted)
qemu-syst 4242 libvirt-qemu   33u   CHR  189,4      0t0  600 /dev/bus/usb/001/005
qemu-syst 4242 libvirt-qemu   34u   CHR  245,0      0t0  600 /dev/vfio/12
bash       800 mira    0u   CHR  136,1      0t0    4 /dev/pts/1
"""


def test_rows_of_lsof() -> None:
    """Names cut after nine characters are known; threads count once; other nodes do not matter."""
    found = handles(LSOF)
    assert [(one["command"], one["pid"], one["path"]) for one in found] == [
        ("tail", 29350, "/dev/ttyUSB0"),
        ("ModemManager", 700, "/dev/ttyUSB0"),
        ("qemu-system-x86", 4242, "/dev/bus/usb/001/005"),
        ("qemu-system-x86", 4242, "/dev/vfio/12"),
    ]
    assert [one["deleted"] for one in found] == [False, True, False, False]
    assert [one.get("hypervisor") for one in found] == [None, None, True, True]
    assert (found[0]["major"], found[0]["minor"], found[0]["user"]) == (188, 0, "root")


FUSER = """                     BEN.        PID ZUGR.  BEFEHL
/dev/ttyUSB0:        root        700 F.... ModemManager
                     mira       1234 F.... (mira)minicom
/dev/ttyACM0:        mira       1235 F.... python3
"""


def test_rows_of_fuser() -> None:
    """A node may have several holders; the heading is translated."""
    assert [(one["command"], one["pid"], one["user"], one["path"]) for one in handles(FUSER)] == [
        ("ModemManager", 700, "root", "/dev/ttyUSB0"),
        ("minicom", 1234, "mira", "/dev/ttyUSB0"),
        ("python3", 1235, "mira", "/dev/ttyACM0"),
    ]


def test_before_and_after_are_two_moments() -> None:
    """The same holder, asked twice."""
    text = typed("lsof /dev/ttyUSB0", LSOF) + typed("lsof /dev/ttyUSB0", LSOF)
    assert len(handles(text)) == 8


@pytest.mark.parametrize(
    "text",
    [
        "",
        "COMMAND PID USER",
        "/dev/ttyUSB0: No such file or directory",
        "tail 1 root 3u REG 1,2 0 5 /dev/ttyUSB0",
        "/dev/ttyUSB0:\n\n123 456",
    ],
)
def test_other_rows_are_no_holders(text: str) -> None:
    """A file of that name, an empty answer, numbers elsewhere."""
    assert said("holders", text) == []


@pytest.mark.parametrize(
    "command", ["sudo ls -l /proc/4242/fd | grep tty", "ls -l /proc/4242/fd/", "ls -la /proc/4242/fd"]
)
def test_descriptors_of_a_process(command: str) -> None:
    """proc_pid_fd(5): the number is in the command, and a node that went says so."""
    rows = (
        "lrwx------ 1 mira mira 64 Nov 25 12:00 5 -> /dev/ttyUSB0 (deleted)\n"
        "lrwx------ 1 mira mira 64 Nov 25 12:00 6 -> /dev/ttyACM1\n"
        "lr-x------ 1 mira mira 64 Nov 25 12:00 7 -> /dev/null\n"
    )
    found = [(one["pid"], one["path"], one["deleted"]) for one in handles(typed(command, rows))]
    assert found == [(4242, "/dev/ttyUSB0", True), (4242, "/dev/ttyACM1", False)]


def test_links_of_another_folder_are_no_descriptors() -> None:
    """Only a command that names a process has them."""
    row = "lrwx------ 1 mira mira 64 Nov 25 12:00 5 -> /dev/ttyUSB0\n"
    assert handles(row) == []
    assert handles(typed("ls -l /proc/4242/fd", "") + typed("ls -l /run/reader", row)) == []
