"""`radiocheck judge` on text that somebody pasted: the verdict, the lines, and what to ask for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.program import radiocheck

# Messages of Linux, drivers/usb/core/hub.c and message.c, as many kernels print them.
DEAF_PORT = """\
Hi, my meter's adapter is gone since yesterday. What can I do?
> uname says 6.1
[   72.100236] usb 1-1.4: new full-speed USB device number 7 using xhci_hcd
[   72.180226] usb 1-1.4: device descriptor read/64, error -32
[   72.560235] usb 1-1.4: new full-speed USB device number 8 using xhci_hcd
[   72.640222] usb 1-1.4: device descriptor read/64, error -32
[   74.590240] usb 1-1-port4: unable to enumerate USB device
Thanks!
"""
# Python 3.11's words, ls of coreutils 9.1 and id in a German locale.
NO_RIGHTS = """\
$ python3 read.py
PermissionError: [Errno 13] Permission denied: '/dev/ttyUSB0'
$ ls -l /dev/ttyUSB0
crw-rw---- 1 root dialout 188, 0 Mär  3 19:20 /dev/ttyUSB0
$ id
uid=1000(mira) gid=1000(mira) Gruppen=1000(mira),4(adm),27(sudo),46(plugdev)
"""
# libvirt, src/hypervisor/virhostdev.c
NOT_THERE = """\
error: Failed to start domain 'hearth'
error: internal error: Did not find USB device 1209:7a01
"""


def judged(text: str | bytes) -> tuple[int, dict[str, Any]]:
    """Exit status and the report as JSON."""
    data = text if isinstance(text, bytes) else text.encode()
    done = radiocheck("judge", "-", "--format", "json", given=data)
    report: dict[str, Any] = json.loads(done.stdout)
    return done.returncode, report


@pytest.mark.parametrize(
    ("text", "status", "step", "lines"),
    [(DEAF_PORT, 3, "bus", [7]), (NO_RIGHTS, 3, "access", [4, 6]), (NOT_THERE, 3, "bus", [2])],
)
def test_the_step_and_the_lines(text: str, status: int, step: str, lines: list[int]) -> None:
    """The step is blamed by the lines that carry it, and by no other."""
    code, report = judged(text)
    assert (code, report["verdict"]["step"]) == (status, step)
    rows = text.splitlines()
    quoted = report["paste"]["decisive"]
    assert [one["line"] for one in quoted] == lines
    assert all(one["text"] == rows[one["line"] - 1].strip() for one in quoted)


def test_the_text_quotes_and_asks() -> None:
    """A person reads the verdict first, then the lines, then the commands to ask for."""
    said = radiocheck("judge", "-", given=NOT_THERE.encode()).stdout.decode()
    places = [
        said.index(part) for part in ("Broken at bus", "  2  error: internal", "To settle it, ask", "    lsusb\n")
    ]
    assert places == sorted(places)


def test_nothing_recognised() -> None:
    """Prose alone is not judged: exit 4, and the commands to ask for."""
    done = radiocheck("judge", "-", given=b"My lamp does not answer any more.\nPlease help!\n")
    assert done.returncode == 4
    said = done.stdout.decode()
    assert "Nothing in this text was recognised" in said
    assert "    lsusb\n" in said


def test_what_was_pasted_is_not_asked_for() -> None:
    """A command that stands at a prompt of the paste is not asked for again."""
    text = "$ lsusb\nBus 001 Device 004: ID 10c4:ea60 Silicon Labs CP210x UART Bridge\n"
    code, report = judged(text)
    assert code == 4
    assert report["paste"]["ask"]
    assert "lsusb" not in report["paste"]["ask"]


def test_later_success_speaks_against_it() -> None:
    """Words after the deciding lines that tell of success are shown as such, or decide themselves."""
    text = DEAF_PORT.replace(
        "Thanks!",
        "[  300.100236] usb 1-1.4: new full-speed USB device number 12 using xhci_hcd\n"
        "[  300.240236] usb 1-1.4: New USB device found, idVendor=10c4, idProduct=ea60, bcdDevice= 1.00\n"
        "[  300.300236] usb 1-1.4: cp210x converter now attached to ttyUSB0\n",
    )
    _, report = judged(text)
    assert report["verdict"]["state"] != "broken"


@pytest.mark.parametrize("dress", ["> {}", "    {}", "<code>{}</code>", "{}   \r"])
def test_the_dress_does_not_matter(dress: str) -> None:
    """Quoted, indented, in HTML or with spaces at the ends, a paste is judged alike."""
    rows = [dress.format(row) for row in DEAF_PORT.splitlines()]
    _, report = judged("\n".join(rows))
    assert report["verdict"] == judged(DEAF_PORT)[1]["verdict"]


def test_escapes_do_not_reach_the_terminal() -> None:
    """What steers a terminal or turns text round is neither in the text nor in the quoted lines."""
    evil = DEAF_PORT.replace("unable", "\x1b[2J\x1b]0;x\x07un\u202eable")
    said = radiocheck("judge", "-", given=evil.encode()).stdout.decode()
    assert "unable to enumerate" in said
    assert not any(sign in said for sign in "\x1b\x07\u202e")


def test_air_takes_no_raw_paste(tmp_path: Path) -> None:
    """Where a capture is needed, a raw paste is refused with a sentence."""
    file = tmp_path / "post.txt"
    file.write_text(NOT_THERE)
    done = radiocheck("judge", str(file), "--guest", str(file))
    assert done.returncode == 2
    assert b"no capture" in done.stderr
