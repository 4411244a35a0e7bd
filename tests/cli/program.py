"""Run radiocheck as a person does: as a program of its own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
LIMIT = 60.0  # seconds


def environment(**more: str) -> dict[str, str]:
    """The environment of a UTF-8 locale without anything that changes the output, plus `more`."""
    kept = {key: value for key, value in os.environ.items() if key in ("PATH", "HOME", "VIRTUAL_ENV")}
    path = os.pathsep.join(filter(None, (str(REPOSITORY), os.environ.get("PYTHONPATH"))))
    return {**kept, "PYTHONPATH": path, "LC_ALL": "C.UTF-8", **more}


def radiocheck(*words: str, given: bytes = b"", **more: str) -> subprocess.CompletedProcess[bytes]:
    """The finished run of `python -m radiocheck WORDS`; `more` goes into its environment."""
    return subprocess.run(
        [sys.executable, "-m", "radiocheck", *words],
        input=given,
        capture_output=True,
        timeout=LIMIT,
        env=environment(**more),
        check=False,
    )


def one_sentence(done: subprocess.CompletedProcess[bytes]) -> str:
    """The only line of a run that was refused: on standard error, status 2, no traceback, nothing on output."""
    assert done.returncode == 2, done
    assert done.stdout == b""
    text = done.stderr.decode()
    assert text.endswith("\n")
    assert text.count("\n") == 1
    assert "Traceback" not in text
    return text.rstrip("\n")


def interruptible() -> None:
    """For `preexec_fn`: what a shell's background job starts would else not hear of Control-C (bash(1), SIGNALS)."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
