"""What reaches standard output, whatever is behind it."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest

from radiocheck.cli.status import VERDICTS
from tests.cli.program import LIMIT, environment, radiocheck

SGR = re.compile(rb"\x1b\[[0-9;]*m")


def on_terminal(*words: str, columns: int = 80, **more: str) -> tuple[int, bytes]:
    """Exit status and output of a run whose standard output is a terminal of that width."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "radiocheck", *words],
        stdin=subprocess.DEVNULL,
        stdout=theirs,
        env=environment(**{"TERM": "xterm", **more}),
    )
    os.close(theirs)
    shown = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # EIO: the other end is closed (pty(7))
            break
        if not part:
            break
        shown += part
    os.close(ours)
    return process.wait(LIMIT), shown.replace(b"\r\n", b"\n")


def in_shell(script: str, file: Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    """The run of a shell line in which `$RADIOCHECK` is the program and `$FILE` a capture."""
    return subprocess.run(
        ["bash", "-c", script],
        capture_output=True,
        timeout=LIMIT,
        check=False,
        env=environment(RADIOCHECK=f"{sys.executable} -m radiocheck", FILE=str(file), **more),
    )


@pytest.mark.parametrize("state", ["sound", "broken"])
def test_survives_head(state: str, captures: dict[str, Path]) -> None:
    """`| head -1` shows the verdict; the program's own status stays the verdict's and nothing is complained of."""
    done = in_shell("$RADIOCHECK judge $FILE | head -1; exit ${PIPESTATUS[0]}", captures[state])
    assert done.returncode == VERDICTS[state]
    assert done.stdout.count(b"\n") == 1
    assert done.stderr == b""


@pytest.mark.parametrize("form", ["text", "json"])
def test_survives_a_reader_that_has_left(form: str, captures: dict[str, Path]) -> None:
    """A pipe whose other end is closed before the first byte (EPIPE, write(2)): quiet, the verdict's status."""
    ours, theirs = os.pipe()
    os.close(ours)
    done = subprocess.run(
        [sys.executable, "-m", "radiocheck", "judge", str(captures["broken"]), "--format", form],
        stdout=theirs,
        stderr=subprocess.PIPE,
        env=environment(),
        check=False,
    )
    os.close(theirs)
    assert (done.returncode, done.stderr) == (3, b"")


def test_closed_output_gives_the_status(captures: dict[str, Path]) -> None:
    """With standard output closed, who only wants the status gets it."""
    done = in_shell("$RADIOCHECK judge $FILE >&-", captures["weak"])
    assert (done.returncode, done.stderr) == (1, b"")


def test_everything_closed_gives_the_status(captures: dict[str, Path]) -> None:
    """Even with all three standard streams closed."""
    assert in_shell("$RADIOCHECK judge $FILE <&- >&- 2>&-", captures["broken"]).returncode == 3


def test_full_disk_is_a_sentence(captures: dict[str, Path]) -> None:
    """What could not be written is not passed off as told: /dev/full (full(4)) gives a sentence and status 2."""
    done = in_shell("$RADIOCHECK judge $FILE > /dev/full", captures["sound"])
    assert done.returncode == 2
    assert done.stderr.decode() == "standard output cannot be written: No space left on device\n"


@pytest.mark.parametrize(
    "settings",
    [
        {"LC_ALL": "C"},
        {"LC_ALL": "", "LC_CTYPE": "C", "LANG": "C.UTF-8", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "latin-1"},
        {"LC_ALL": "C", "PYTHONUTF8": "0"},
    ],
)
def test_poor_locales_get_ascii(settings: dict[str, str], captures: dict[str, Path]) -> None:
    """Where the locale or the encoding has no more than ASCII, the text is ASCII, complete and without complaint."""
    done = radiocheck("judge", str(captures["broken"]), **settings)
    assert done.returncode == 3
    assert done.stderr == b""
    assert done.stdout.isascii()
    assert b"-/ /-bus" in done.stdout


def test_utf8_locales_get_the_line(captures: dict[str, Path]) -> None:
    """Where the locale has it, the line is drawn."""
    assert "─/ /─bus" in radiocheck("judge", str(captures["broken"])).stdout.decode()


def test_ascii_on_request(captures: dict[str, Path]) -> None:
    """`--ascii` keeps to ASCII anywhere."""
    assert radiocheck("judge", "--ascii", str(captures["broken"])).stdout.isascii()


@pytest.mark.parametrize("columns", [40, 60, 100])
def test_fits_the_terminal(columns: int, captures: dict[str, Path]) -> None:
    """On a terminal the lines are as wide as it allows (TIOCGWINSZ, ioctl_tty(2)); commands stay whole."""
    _, shown = on_terminal("judge", str(captures["broken"]), columns=columns)
    lines = SGR.sub(b"", shown).decode().splitlines()
    assert max(len(line) for line in lines if "/sys/" not in line) <= columns
    assert max(len(line) for line in lines) > columns - 15


def test_columns_decide(captures: dict[str, Path]) -> None:
    """The variable COLUMNS wins over what the terminal says."""
    narrow = radiocheck("judge", str(captures["sound"]), COLUMNS="40").stdout.decode().splitlines()
    assert max(len(line) for line in narrow) <= 40


@pytest.mark.parametrize("columns", ["0", "-5", "wide", "99999999999"])
def test_odd_columns_are_no_trouble(columns: str, captures: dict[str, Path]) -> None:
    """A nonsensical COLUMNS is no reason to fail."""
    done = radiocheck("judge", str(captures["sound"]), COLUMNS=columns)
    assert (done.returncode, done.stderr) == (0, b"")


def test_colour_only_on_a_terminal(captures: dict[str, Path]) -> None:
    """Colours go to terminals only, and the words are the same without them."""
    status, coloured = on_terminal("judge", str(captures["broken"]))
    bare = radiocheck("judge", str(captures["broken"])).stdout
    assert status == 3
    assert SGR.search(coloured)
    assert b"\x1b" not in bare
    assert [line.rstrip() for line in SGR.sub(b"", coloured).splitlines()] == bare.splitlines()


@pytest.mark.parametrize(
    ("words", "settings"),
    [(["--no-colour"], {}), ([], {"NO_COLOR": "1"}), ([], {"TERM": "dumb"}), (["--format", "json"], {})],
)
def test_colour_can_be_refused(words: list[str], settings: dict[str, str], captures: dict[str, Path]) -> None:
    """`--no-colour`, NO_COLOR (https://no-color.org), a dumb terminal and JSON have no colours."""
    _, shown = on_terminal("judge", str(captures["broken"]), *words, **settings)
    assert b"broken" in shown
    assert b"\x1b" not in shown
