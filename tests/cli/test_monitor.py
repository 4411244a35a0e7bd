"""`--qmp`: QEMU is asked only on a socket that is named, and a socket that is none costs one sentence."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.program import environment, one_sentence, radiocheck
from tests.sources.monitors import ANSWERS, GREETING, acted

HELLO = json.dumps(GREETING).encode() + b"\r\n"


@pytest.fixture(autouse=True)
def _library() -> None:
    pytest.importorskip("qemu.qmp", reason="the library qemu.qmp is not installed")


def test_capture_keeps_what_qemu_told(tmp_path: Path) -> None:
    """The answers are part of the evidence."""
    with acted(tmp_path / "monitor", HELLO, ANSWERS):
        done = radiocheck("capture", "-", "--qmp", str(tmp_path / "monitor"))
    assert (done.returncode, done.stderr) == (0, b"")
    (monitor,) = json.loads(done.stdout)["monitors"]
    assert (monitor["name"], monitor["usb"][0]["argument"]["vid"]) == ("hearth", "1209")


def test_check_judges_by_it(tmp_path: Path) -> None:
    """A device that only QEMU tells of gets its line in the report."""
    with acted(tmp_path / "monitor", HELLO, {**ANSWERS, "hotplugged": True}):
        done = radiocheck("check", "--qmp", str(tmp_path / "monitor"))
    assert done.returncode in (3, 4)
    assert "vendorid=1209, productid=7a01" in done.stdout.decode().replace("\n", " ")


def test_a_monitor_that_does_not_answer_is_told(tmp_path: Path) -> None:
    """The rest is judged all the same, and the report says what was not answered."""
    with acted(tmp_path / "monitor", HELLO, {**ANSWERS, "query-status": b""}):
        done = radiocheck("check", "--qmp", str(tmp_path / "monitor"))
    assert done.returncode in (0, 1, 3, 4)
    assert "broke off the conversation" in " ".join(done.stdout.decode().split())


@pytest.mark.parametrize("command", [["check"], ["capture", "-"]])
def test_no_monitor(tmp_path: Path, command: list[str]) -> None:
    """A file, or a socket that nobody listens on: one sentence, and nothing is judged or saved."""
    (tmp_path / "file").write_text("text")
    assert "is no socket" in one_sentence(radiocheck(*command, "--qmp", str(tmp_path / "file")))
    with socket.socket(socket.AF_UNIX) as left:
        left.bind(str(tmp_path / "left"))
        assert "nobody listens" in one_sentence(radiocheck(*command, "--qmp", str(tmp_path / "left")))


def test_hostile_names(tmp_path: Path) -> None:
    """A socket's name reaches the terminal escaped."""
    sentence = one_sentence(radiocheck("check", "--qmp", f"{tmp_path}/\x1b[31m\udcff"))
    assert "\x1b" not in sentence


def python(code: str) -> subprocess.CompletedProcess[bytes]:
    """A Python of its own that runs the code, which ends with radiocheck's status."""
    return subprocess.run([sys.executable, "-c", code], capture_output=True, env=environment(), check=False)


def test_without_the_library() -> None:
    """One sentence says what to install."""
    code = (
        "import sys; sys.modules['qemu.qmp'] = None\n"
        "from radiocheck.cli.main import run; sys.exit(run(['check', '--qmp', '/nothing']))"
    )
    assert "pip install 'radiocheck[qmp]'" in one_sentence(python(code))


def test_the_library_is_loaded_only_when_asked_for() -> None:
    """Without --qmp neither the library nor asyncio costs its start-up time."""
    code = (
        "import sys; from radiocheck.cli.main import run; status = run(['capture', '-'])\n"
        "sys.exit(status or sum(name in sys.modules for name in ('qemu', 'asyncio')))"
    )
    assert python(code).returncode == 0
