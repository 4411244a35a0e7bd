"""A thousand different captures judged in one process: memory at the end against memory after the first hundred."""

from __future__ import annotations

import gc
import json
import os
import re
import subprocess
import sys
from pathlib import Path

from .captures import captures
from .figures import Target, machine, show
from .programs import ROOT

NUMBER, FIRST = 1000, 100
LIMIT = 1.05  # "constant": what an allocator may keep back
SERIAL = re.compile(rb'("serial": ?")[^"\\]+(")')


def main() -> list[Target]:
    """Measure, print, and return the claim."""
    print(machine())
    # In a process of its own, where no earlier benchmark has left free memory that growth could hide in
    said = subprocess.run([sys.executable, "-m", __name__], check=True, stdout=subprocess.PIPE, cwd=ROOT).stdout
    sizes = {int(count): size for count, size in json.loads(said).items()}
    for count, size in sizes.items():
        print(f"  after {count:4} captures: {size:.1f} MB")
    target = Target(f"resident memory after {NUMBER} over {FIRST}", sizes[NUMBER] / sizes[FIRST], LIMIT)
    show(target)
    return [target]


def grown() -> dict[int, float]:
    """Resident memory in MB by the number of captures that were judged and told."""
    from radiocheck.chain.judge import judge
    from radiocheck.chain.rules import load as load_rules
    from radiocheck.chain.rules import shipped
    from radiocheck.evidence.store import load
    from radiocheck.report.text import text

    rules = load_rules([shipped()])
    kinds = list(captures().values())
    sizes = {}
    for number in range(1, NUMBER + 1):
        other = b"\\g<1>%06d\\2" % number  # another serial number, so that none is judged twice
        text(judge(load(SERIAL.sub(other, kinds[number % len(kinds)]), "capture"), rules))
        if number % FIRST == 0:
            sizes[number] = _resident()
    return sizes


def _resident() -> float:
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])  # proc_pid_statm(5)
    return pages * os.sysconf("SC_PAGESIZE") / (1 << 20)


if __name__ == "__main__":
    json.dump(grown(), sys.stdout)
