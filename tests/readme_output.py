"""README.md shows the real output of the demo: run this to renew it; a test holds it current."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"(<!-- demo output: begin -->\n).*?(<!-- demo output: end -->)", re.S)


def demo() -> str:
    """What `radiocheck judge` says of the demo, without the last lines that name the time."""
    command = [sys.executable, "-m", "radiocheck", "judge", "fixtures/demo/evidence.json", "--no-colour"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return done.stdout.rstrip()


def renewed(text: str) -> str:
    """The README with the demo's output of now."""
    return BLOCK.sub(lambda match: f"{match[1]}```\n{demo()}\n```\n{match[2]}", text)


if __name__ == "__main__":
    README.write_text(renewed(README.read_text()))
