"""What the last run saved, judged once more by the code of now.

To play all scenarios takes most of an hour.  A rule that changed since needs no machine: the
evidence is there, of the machine as it was, and after its remedy.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from tests.bench import figures
from tests.bench.compare import Outcome, outcome
from tests.bench.judging import judge


def outcomes(cache: Path, chosen: Sequence[dict[str, Any]]) -> list[Outcome]:
    """The outcome of each scenario that was played, of its last try."""
    played: dict[str, list[Path]] = {}
    # A second try is in a folder of its own, which sorts behind the others.
    for path in sorted(cache.glob("last-*/results/*.json")):
        played.setdefault(path.stem, []).append(path)
    named = [one for one in chosen if one["name"] in played]
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        found = list(pool.map(lambda one: _outcome(one, played[one["name"]]), named))
    for out in found:
        print(figures.line(out), flush=True)
    return found


def _outcome(scenario: dict[str, Any], paths: Sequence[Path]) -> Outcome:
    last = paths[-1]
    result = json.loads(last.read_text(encoding="utf-8"))
    evidence = last.parents[1] / "evidence"
    for part, mark in (("root", ""), ("person", ".person"), ("remedied", ".remedied")):
        saved = evidence / f"{scenario['name']}{mark}.json"
        if part in result and saved.exists():
            result[part] = {**judge(saved), "seconds": result[part].get("seconds", 0.0)}
    if "report" in result.get("whole", {}):
        del result["whole"]  # what the machine said then is of the code of then
    out = outcome(scenario, result)
    out.tries = len(paths)
    return out
