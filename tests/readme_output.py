"""README.md shows real output: run this to renew it; a test holds it current."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"(<!-- (\w+) output: begin -->\n).*?(<!-- \2 output: end -->)", re.S)
CASES = {
    "0001.json": "demo/evidence.json",
    "0002.json": "autosuspend-forced/evidence.json",
    "0003.json": "held-by-serial-console/evidence.json",
    "0004.json": "live-only/evidence.json",
    "0005.txt": "demo/expect.yaml",  # some text that tells nothing
}


def demo() -> str:
    """What `radiocheck judge` says of the demo."""
    return _judged(ROOT, "fixtures/demo/evidence.json")


def many() -> str:
    """What it says of a folder with several cases."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "cases").mkdir()
        for name, file in CASES.items():
            shutil.copy(ROOT / "fixtures" / file, Path(folder, "cases", name))
        return _judged(Path(folder), "cases")


def air() -> str:
    """The answers and the what-if of `radiocheck air` for the invented house, without the tables."""
    given = ("--evidence", "fixtures/air/gable.json", "--site", "fixtures/air/gable.yaml")
    return _said(ROOT, "air", *given, "--channel", "25", "--extension", "1.5m").partition("\n\nSuperSpeed around")[0]


def paste() -> str:
    """What it says of a text that a person posted, down to what there is to do."""
    return _judged(ROOT, "fixtures/pastes/meter-adapter.txt").partition("\n  1. ")[0].rstrip()


def _judged(where: Path, name: str) -> str:
    return _said(where, "judge", name)


def _said(where: Path, *words: str) -> str:
    command = [sys.executable, "-m", "radiocheck", *words, "--no-colour"]
    path = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
    ours = {**os.environ, "PYTHONPATH": path}
    done = subprocess.run(command, cwd=where, env=ours, capture_output=True, text=True, check=False)
    return done.stdout.rstrip()


def renewed(text: str) -> str:
    """The README with the output of now."""
    made = {"demo": demo, "many": many, "air": air, "paste": paste}
    return BLOCK.sub(lambda match: f"{match[1]}```\n{made[match[2]]()}\n```\n{match[3]}", text)


if __name__ == "__main__":
    README.write_text(renewed(README.read_text()))
