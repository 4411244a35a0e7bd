"""`radiocheck --help` against `python -c "import click"`: what a person waits before the first word."""

from __future__ import annotations

import statistics

from .figures import Target, machine, show, told
from .programs import installed, rounds

ROUNDS = 21
LIMIT = 2.0


def main() -> list[Target]:
    """Measure, print, and return the claim."""
    print(machine())
    ours, theirs = "radiocheck --help", 'python -c "import click"'
    with installed() as programs:
        python = str(programs / "python")
        found = rounds(
            {ours: [[str(programs / "radiocheck"), "--help"]], theirs: [[python, "-c", "import click"]]}, ROUNDS
        )
    for name, runs in found.items():
        print(f"  {name}")
        print(f"    wall      {told([run.wall for run in runs])}")
        print(f"    processor {told([run.processor for run in runs])}")
        print(f"    peak      {runs[0].memory:9.2f} MB")
    middle = {name: statistics.median(run.wall for run in runs) for name, runs in found.items()}
    target = Target("wall time", middle[ours] / middle[theirs], LIMIT)
    show(target)
    return [target]
