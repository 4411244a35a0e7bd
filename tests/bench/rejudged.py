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
from tests.bench.judging import judge, saved, tries


def outcomes(cache: Path, chosen: Sequence[dict[str, Any]]) -> list[Outcome]:
    """The outcome of each scenario that was played, of its last try."""
    played = [(one, tries(cache, one["name"])) for one in chosen]
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        found = list(pool.map(lambda one: _outcome(*one), [(one, paths) for one, paths in played if paths]))
    for out in found:
        print(figures.line(out), flush=True)
    return found


def _outcome(scenario: dict[str, Any], paths: Sequence[Path]) -> Outcome:
    last = paths[-1]
    result = json.loads(last.read_text(encoding="utf-8"))
    for part, mark in (("root", ""), ("person", ".person"), ("remedied", ".remedied")):
        evidence = saved(last, mark)
        if part in result and evidence.exists():
            result[part] = {**judge(evidence), "seconds": result[part].get("seconds", 0.0)}
    if "report" in result.get("whole", {}):
        del result["whole"]  # what the machine said then is of the code of then
    out = outcome(scenario, result)
    out.tries = len(paths)
    return out
