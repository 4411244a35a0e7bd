"""The program as a whole: help, statuses, and no traceback."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from radiocheck import __version__
from radiocheck.cli.main import cli
from tests.cli.program import LIMIT, environment, interruptible, one_sentence, radiocheck

COMMANDS = ["capture", "check", "judge", "rules"]
IN_A_NEW_COMMAND = """
import sys, click
from radiocheck.cli.main import cli, run
def fail(): {body}
cli.add_command(click.Command("fail", callback=fail))
sys.exit(run(["fail"]))
"""


def with_a_command(body: str, **more: str) -> subprocess.CompletedProcess[bytes]:
    """The run of a command that does what `body` says."""
    code = IN_A_NEW_COMMAND.format(body=body)
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, timeout=LIMIT, env=environment(**more), check=False
    )


def test_help_names_the_commands() -> None:
    """The help lists the four commands, says what is never done, and ends with the exit statuses."""
    shown = CliRunner().invoke(cli, ["--help"])
    assert shown.exit_code == 0
    for command in COMMANDS:
        assert f"  {command} " in shown.output
    assert "opens no serial port" in shown.output
    assert all(len(line) <= 80 for line in shown.output.splitlines())


@pytest.mark.parametrize("words", [["--help"], ["check", "--help"], ["judge", "--help"]])
def test_help_documents_the_exit_statuses(words: list[str]) -> None:
    """Every status is in the help, where a script's author looks for it."""
    shown = CliRunner().invoke(cli, words).output
    for status in ("0  every step", "1  weak", "2  wrong usage", "3  a step is broken", "4  not enough evidence"):
        assert status in shown


@pytest.mark.parametrize("command", COMMANDS)
def test_commands_have_help(command: str) -> None:
    """Each command explains itself in 80 columns."""
    shown = CliRunner().invoke(cli, [command, "-h"])
    assert shown.exit_code == 0
    assert all(len(line) <= 80 for line in shown.output.splitlines())


def test_help_loads_nothing_heavy() -> None:
    """`--help` imports click and nothing of the work: it answers at once (the ratio is a benchmark)."""
    code = (
        "import sys\nfrom radiocheck.cli.main import run\nrun(['check', '--help'])\n"
        "heavy = {'msgspec', 'yaml', 'pyudev', 'cel_expr_python', 'subprocess', 'json', 'asyncio'}\n"
        "sys.exit(str(heavy & set(sys.modules)) if heavy & set(sys.modules) else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, env=environment(), check=False)
    assert (done.returncode, done.stderr) == (0, b"")


def test_version() -> None:
    """`--version` prints the name and the version."""
    assert radiocheck("--version").stdout.decode() == f"radiocheck {__version__}\n"


@pytest.mark.parametrize(
    "words",
    [
        ["nonsense"],
        ["check", "--nonsense"],
        ["judge"],
        ["check", "--format", "xml"],
        ["judge", "a", "--jobs", "0"],
        ["capture"],
    ],
)
def test_wrong_usage_is_status_2(words: list[str]) -> None:
    """What cannot be understood is said on standard error, with status 2."""
    done = radiocheck(*words)
    assert done.returncode == 2
    assert done.stdout == b""
    assert done.stderr.startswith(b"Usage: ")
    assert b"Traceback" not in done.stderr


def test_usage_errors_cannot_steer_a_terminal() -> None:
    """A word with an escape sequence is shown escaped."""
    done = radiocheck("\x1b[31mred", "\u202e")
    assert done.returncode == 2
    assert b"\x1b" not in done.stderr
    assert b"\\x1b[31mred" in done.stderr


def test_a_bug_is_a_sentence() -> None:
    """An error of our own asks for the evidence in one sentence, status 2; what it quotes is escaped."""
    sentence = one_sentence(with_a_command("raise KeyError('\\x1b[2J')"))
    assert "radiocheck capture" in sentence
    assert "KeyError" in sentence
    assert "\x1b" not in sentence


def test_a_bug_can_be_looked_into() -> None:
    """With RADIOCHECK_DEBUG=1 the traceback is shown."""
    done = with_a_command("raise KeyError('x')", RADIOCHECK_DEBUG="1")
    assert b"Traceback" in done.stderr


def test_endless_recursion_is_a_sentence() -> None:
    """Even a recursion without end is one sentence."""
    assert "RecursionError" in one_sentence(with_a_command("fail()"))


def test_interrupt_is_quiet() -> None:
    """Control-C ends the program with status 130 (128 + SIGINT) and says nothing."""
    with subprocess.Popen(
        [sys.executable, "-m", "radiocheck", "judge", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment(),
        preexec_fn=interruptible,
    ) as process:
        deadline = time.monotonic() + LIMIT
        while b"pipe" not in _waits_in(process.pid) and time.monotonic() < deadline:
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=LIMIT)
    assert (process.returncode, out, err) == (130, b"", b"")


def _waits_in(pid: int) -> bytes:
    """The kernel function in which the process sleeps (proc(5), /proc/PID/wchan)."""
    return Path(f"/proc/{pid}/wchan").read_bytes()


def test_help_survives_a_closed_reader() -> None:
    """`radiocheck --help` into a pipe that nobody reads is quiet and 0."""
    done = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m radiocheck --help | true; exit ${{PIPESTATUS[0]}}"],
        capture_output=True,
        env=environment(),
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
