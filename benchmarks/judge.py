"""Loading and judging a saved capture in a warm process, against 5 ms, and against json.loads of the same file."""

from __future__ import annotations

import json
import statistics
import time

from .captures import captures
from .figures import Target, machine, show, told

ROUNDS = 100
WARM = 5  # rounds that do not count: conditions are compiled when they are first asked
LIMIT = 5.0  # ms


def main() -> list[Target]:
    """Measure, print, and return the claim."""
    from radiocheck.chain.judge import judge
    from radiocheck.chain.rules import load as load_rules
    from radiocheck.chain.rules import shipped
    from radiocheck.evidence.store import load
    from radiocheck.report.text import text

    print(machine())
    rules = load_rules([shipped()])
    print(f"  {len(rules.rules)} rules")
    slowest, where = 0.0, ""
    for name, data in captures().items():
        ours, telling, theirs = [], [], []
        for _ in range(WARM + ROUNDS):
            began = time.perf_counter()
            report = judge(load(data, name), rules)
            judged = time.perf_counter()
            text(report)
            told_at = time.perf_counter()
            json.loads(data)
            ended = time.perf_counter()
            ours.append((judged - began) * 1e3)
            telling.append((told_at - judged) * 1e3)
            theirs.append((ended - told_at) * 1e3)
        ours, telling, theirs = ours[WARM:], telling[WARM:], theirs[WARM:]
        middle = statistics.median(ours)
        print(f"  {name}: {len(data) / 1000:.0f} kB, chains: {len(report.chains)}")
        print(f"    load and judge {told(ours)}")
        print(f"    text, besides  {told(telling)}")
        print(f"    json.loads     {told(theirs)}, ratio {middle / statistics.median(theirs):.1f}")
        if middle > slowest:
            slowest, where = middle, name
    target = Target(f"{where}, the slowest capture, over {LIMIT:g} ms", slowest / LIMIT, 1.0)
    show(target)
    return [target]
