"""Saved captures to judge: the shipped ones, and one of a described machine."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from . import testbed
from .programs import ROOT, environment, missing, umockdev


def captures() -> dict[str, bytes]:
    """All by name.  Raises `SystemExit` with advice when there is none."""
    found = {file.parent.name: file.read_bytes() for file in sorted(ROOT.glob("fixtures/*/evidence.json"))}
    if not missing("umockdev-run"):
        found["a described machine with 1 adapter"] = _described(1)
    if not found:
        raise SystemExit("no capture in fixtures/, and umockdev-run (Debian package umockdev) is not installed")
    return found


def _described(adapters: int) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        beds = testbed.write(Path(folder), adapters, rest=False)
        program = umockdev(beds, [sys.executable, "-m", "radiocheck", "capture", "-"])
        return subprocess.run(program, check=True, stdout=subprocess.PIPE, cwd=ROOT, env=environment()).stdout
