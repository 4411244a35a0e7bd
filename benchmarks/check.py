"""`radiocheck check` against `lsusb -v` and `udevadm info --export-db`, with 1, 16 and 127 adapters.

All programs run in turn on the same described machine (umockdev), which has the adapters
with their hubs, and the devices that any machine has besides.  One adapter is shown without
these too: no machine is like that, but it is where Python's own start weighs most.
"""

from __future__ import annotations

import os
import statistics
import tempfile
from itertools import pairwise
from pathlib import Path

from . import testbed
from .figures import Target, machine, show, told
from .programs import Run, below, installed, missing

SIZES = (1, 16, 127)
ROUNDS = {1: 15, 16: 9, 127: 5}
LIMIT = 3.0
GROWTH = 1.2  # 1: linear; the rest is for the scatter of the figures

OURS, THEIRS = "radiocheck check", "lsusb -v, udevadm info --export-db"


def main() -> list[Target]:
    """Measure, print, and return the claims."""
    if absent := missing("umockdev-run", "lsusb", "udevadm"):
        raise SystemExit(f"not installed: {', '.join(absent)} (Debian packages umockdev, usbutils, udev)")
    print(machine())
    with installed() as programs:
        bare = _size(programs, 1, rest=False)
        found = {size: _size(programs, size, rest=True) for size in SIZES}
    one = Target("wall time with 1 adapter", _ratio(found[1], "wall"), LIMIT)
    counts = {size: testbed.devices(size) for size in SIZES}
    slopes = [
        (_middle(found[upper][OURS], "processor") - _middle(found[lower][OURS], "processor"))
        / (counts[upper] - counts[lower])
        for lower, upper in pairwise(SIZES)
    ]
    print()
    for (lower, upper), slope in zip(pairwise(SIZES), slopes, strict=True):
        print(f"  from {counts[lower]} to {counts[upper]} USB devices, each costs {slope:.2f} ms of processor time")
    growth = Target("processor time of a device more, many against few", slopes[-1] / slopes[0], GROWTH)
    print(f"  without the rest of the machine, 1 adapter: ratio {_ratio(bare, 'wall'):.2f}")
    for target in (one, growth):
        show(target)
    return [one, growth]


def _size(programs: Path, adapters: int, rest: bool) -> dict[str, list[Run]]:
    order = {
        OURS: [[str(programs / "radiocheck"), "check"]],
        THEIRS: [["lsusb", "-v"], ["udevadm", "info", "--export-db"]],
    }
    # umockdev writes a file for every attribute: in memory where there is such a folder
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.access("/dev/shm", os.W_OK) else None) as folder:
        beds = testbed.write(Path(folder), adapters, rest)
        found = below(beds, order, ROUNDS[adapters], folder)
    count = testbed.devices(adapters)
    print(
        f"\n{adapters} adapter{'s' * (adapters > 1)}, {count} USB devices with hubs"
        + ("" if rest else ", nothing else")
    )
    for name, runs in found.items():
        print(f"  {name}")
        print(f"    wall      {told([run.wall for run in runs])}")
        print(f"    processor {told([run.processor for run in runs])}")
        print(f"    peak      {runs[0].memory:9.2f} MB")
    print(
        f"  ratios: wall {_ratio(found, 'wall'):.2f}, processor {_ratio(found, 'processor'):.2f}, "
        f"peak memory {_ratio(found, 'memory'):.2f}"
    )
    return found


def _middle(runs: list[Run], field: str) -> float:
    return float(statistics.median(getattr(run, field) for run in runs))


def _ratio(found: dict[str, list[Run]], field: str) -> float:
    return _middle(found[OURS], field) / _middle(found[THEIRS], field)
