"""Computing a whole plan of the air, warm, against 50 ms; a million packet error rates, against NumPy; and the start.

NumPy stands for the same formula over an array, term by term, and is part of no install.  Its
ratio has no claim: a plan needs some thousands of rates, and what importing NumPy costs is told too.
The start of `radiocheck air` is what a person waits until its words are understood and nothing
is read yet (`radiocheck air --help`), against `radiocheck --help`; a whole run with a capture and
a site is told beside it.
"""

from __future__ import annotations

import random
import statistics
import subprocess
import sys
import time
from typing import TYPE_CHECKING

from .figures import Target, machine, show, told
from .programs import ROOT, installed, rounds

if TYPE_CHECKING:
    from radiocheck.radio.plan import Plan

ROUNDS = 40
WARM = 3  # rounds that do not count: tables are made when they are first asked
LIMIT = 50.0  # ms
RATES = 1_000_000
OCTETS = 60
IMPORTS = 5
STARTS = 21
START_LIMIT = 1.5


def main() -> list[Target]:
    """Measure, print, and return the claim."""
    from radiocheck.radio.plan import compute

    print(machine())
    chance = random.Random(6)
    wall, processor = [], []
    for _ in range(WARM + ROUNDS):
        plan = house(chance)  # another one each time, so that nothing is remembered but the tables
        began, busy = time.perf_counter(), time.process_time()
        compute(plan)
        processor.append((time.process_time() - busy) * 1e3)
        wall.append((time.perf_counter() - began) * 1e3)
    wall, processor = wall[WARM:], processor[WARM:]
    print("  16 channels, 60 networks, 20 links, best and worst noise")
    print(f"    wall           {told(wall)}")
    print(f"    processor      {told(processor)}")
    rates()
    targets = [Target(f"a plan over {LIMIT:g} ms", statistics.median(wall) / LIMIT, 1.0), start()]
    for target in targets:
        show(target)
    return targets


def house(chance: random.Random) -> Plan:
    """A house in a dense street: Wi-Fi mostly on 1, 6 and 11, some wide, half of it telling its air time."""
    from radiocheck.radio.masks import MASKS
    from radiocheck.radio.plan import LinkPlan, Network, Plan, Slab

    networks = tuple(
        Network(
            f"net {number}",
            2407.0 + 5.0 * chance.choice((1, 1, 6, 6, 11, 11, 3, 4, 9, 13)),
            chance.uniform(-92.0, -42.0),
            chance.choice(list(MASKS)),
            chance.choice((None, chance.uniform(0.0, 0.6))),
        )
        for number in range(60)
    )
    walls = (Slab("brick", 0.115), Slab("plasterboard", 0.0125), Slab("concrete", 0.2, 30.0), Slab("wood", 0.04))
    links = tuple(
        LinkPlan(
            f"lamp {number}", chance.uniform(1.5, 25.0), tuple(chance.sample(walls, number % 4)), chance.randrange(3)
        )
        for number in range(20)
    )
    return Plan(chance.randrange(11, 27), networks, links, chance.uniform(0.0, 3.0), chance.uniform(10.0, 20.0))


def start() -> Target:
    """The start of `radiocheck air`, and a whole run of it, against `radiocheck --help`."""
    given = ["--evidence", str(ROOT / "fixtures/demo/evidence.json"), "--site", str(ROOT / "fixtures/air/gable.yaml")]
    plain, begun, whole = "radiocheck --help", "radiocheck air --help", "radiocheck air, a capture and a site"
    with installed() as programs:
        ours = str(programs / "radiocheck")
        order = {plain: [[ours, "--help"]], begun: [[ours, "air", "--help"]], whole: [[ours, "air", *given]]}
        found = rounds(order, STARTS)
    middle = {name: statistics.median(run.wall for run in runs) for name, runs in found.items()}
    for name, runs in found.items():
        print(f"  {name}")
        print(f"    wall           {told([run.wall for run in runs])}")
        print(f"    processor      {told([run.processor for run in runs])}, ratio {middle[name] / middle[plain]:.2f}")
    return Target("start of radiocheck air, wall time", middle[begun] / middle[plain], START_LIMIT)


def rates() -> None:
    """A million packet error rates from −5 to +5 dB, ours one by one, NumPy's over an array."""
    try:
        import numpy
        from scipy.special import comb
    except ImportError:
        print("  NumPy and SciPy are not installed; the rates are not compared")
        return
    from radiocheck.radio.ber import frame_error_rate

    ratios = [number * 10.0 / RATES - 5.0 for number in range(RATES)]
    frame_error_rate(0.0, OCTETS)
    began = time.process_time()
    ours = [frame_error_rate(sinr, OCTETS) for sinr in ratios]
    between = time.process_time()
    snr = 10.0 ** (numpy.asarray(ratios) / 10.0)
    bits = sum((-1) ** k * comb(16, k) * numpy.exp(20.0 * snr * (1.0 / k - 1.0)) for k in range(2, 17)) / 30.0
    theirs = -numpy.expm1(8 * OCTETS * numpy.log1p(-bits))
    ended = time.process_time()
    apart = float(numpy.max(numpy.abs(numpy.asarray(ours) / theirs - 1.0)))
    single, array = (between - began) * 1e3, (ended - between) * 1e3
    print(f"  {RATES} packet error rates, processor time; they differ by {apart:.0e} at most")
    print(f"    ours           {told([single])}")
    print(f"    NumPy          {told([array])}, ratio {single / array:.1f}")
    imports = []
    for _ in range(IMPORTS):
        imported = "import time; a = time.process_time(); import numpy; print(time.process_time() - a)"
        shown = subprocess.run([sys.executable, "-c", imported], capture_output=True, text=True, check=True).stdout
        imports.append(float(shown) * 1e3)
    print(f"    importing it   {told(imports)}")
