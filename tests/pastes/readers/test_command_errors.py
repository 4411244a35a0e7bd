"""Commands that fail: shells and coreutils run here, other shells from memory."""

from __future__ import annotations

import os
import shutil
import subprocess

import pytest

from .said import typed, values


def told(text: str) -> list[tuple[str, str]]:
    """Command and kind."""
    return [(one["command"], one["kind"]) for one in values("command_errors", text, "command-error")]


@pytest.mark.parametrize("shell", ["bash", "dash", "busybox"])
def test_shells_that_know_no_such_program(shell: str) -> None:
    """With an empty search path."""
    program = shutil.which(shell)
    if program is None:
        pytest.skip(f"{shell} is not installed")
    argv = [program, *(["sh"] if shell == "busybox" else []), "-c", "lsusb -t"]
    ran = subprocess.run(argv, capture_output=True, text=True, check=False, env={"PATH": "/nowhere", "LC_ALL": "C"})
    assert told(ran.stderr) == [("lsusb", "no-tool")]


@pytest.mark.parametrize(
    ("line", "command", "kind"),
    [
        ("bash: lsusb: Kommando nicht gefunden.", "lsusb", "no-tool"),
        ("bash: lsof : commande introuvable", "", ""),
        ("bash: lsof: commande introuvable", "lsof", "no-tool"),
        ("-ash: lsusb: not found", "lsusb", "no-tool"),
        ("sudo: lsof: command not found", "lsof", "no-tool"),
        ("zsh: command not found: usb-devices", "usb-devices", "no-tool"),
        ("fish: Unknown command: lspci", "lspci", "no-tool"),
        ("dmesg: read kernel buffer failed: Operation not permitted", "dmesg", "denied"),
        ("dmesg: klogctl: Operation not permitted", "dmesg", "denied"),
        ("dmesg: Lesen des Kernelpuffers ist fehlgeschlagen: Die Operation ist nicht erlaubt", "dmesg", "denied"),
        ("No journal files were opened due to insufficient permissions.", "journalctl", "denied"),
        ("Hint: You are currently not seeing messages from other users and the system.", "journalctl", "denied"),
        ("unable to initialize libusb: -99", "lsusb", "failed"),
        ("unable to initialize usb spec", "lsusb", "failed"),
        ("error: failed to connect to the hypervisor", "virsh", "failed"),
        ("Unknown device \"/dev/ttyUSB0\": No such device", "udevadm info /dev/ttyUSB0", "nothing-there"),
        ("ls: /dev/ttyUSB*: No such file or directory", "ls -l /dev/ttyUSB*", "nothing-there"),
        ("ls: kan ikke tilgå '/dev/ttyUSB*': Ingen sådan fil eller filkatalog", "ls -l /dev/ttyUSB*", "nothing-there"),
        ("zsh: no matches found: /dev/ttyACM*", "ls -l /dev/ttyACM*", "nothing-there"),
        ("cat: /dev/bus/usb/001/005: No such file or directory", "ls -l /dev/bus/usb/001/005", "nothing-there"),
    ],
)  # fmt: skip
def test_each_way_to_fail(line: str, command: str, kind: str) -> None:
    """Not installed, not permitted, failed, nothing there."""
    assert told(line) == ([(command, kind)] if command else [])


def test_real_answers_to_a_path_that_is_not_there() -> None:
    """coreutils 9.1."""
    path = "/dev/serial/by-id/usb-no-such-thing-if00"
    for argv in (["ls", "-l", path], ["stat", path], ["cat", path]):
        ran = subprocess.run(argv, capture_output=True, text=True, check=False, env={**os.environ, "LC_ALL": "C"})
        assert told(ran.stderr) == [(f"ls -l {path}", "nothing-there")]


def test_a_command_asks_for_what_the_answer_does_not_name() -> None:
    """Older udevadm: "device node not found" (from memory)."""
    assert told(typed("udevadm info -a -n /dev/ttyUSB0", "device node not found")) == [
        ("udevadm info /dev/ttyUSB0", "nothing-there")
    ]
    assert told("device node not found") == []


@pytest.mark.parametrize(
    "line",
    [
        "",
        "lsusb",
        "the command lsusb is not found in my menu",
        "bash: foo: command not found",
        "/dev/ttyUSB0: is it there?",
    ],
)
def test_other_lines_are_no_errors(line: str) -> None:
    """Prose, other commands."""
    assert told(line) == []
