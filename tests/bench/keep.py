"""Keep the evidence of the last run as fixtures: `python -m tests.bench.keep [NAME…]`.

Only scenarios that were judged as expected are kept, so that a fixture holds what the
set-up did and not what radiocheck happened to say.  Without names, all of them.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import yaml

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load as load_rules
from radiocheck.chain.rules import shipped
from radiocheck.evidence.store import load
from tests.bench.image import cache_dir
from tests.bench.judging import guest_of, saved, tries
from tests.bench.scenario import load_all

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


def expectation(scenario: dict[str, Any], kernel: str) -> dict[str, Any]:
    """What `fixtures/NAME/expect.yaml` says."""
    expect = scenario["expect"]
    fault = expect["state"] in ("broken", "weak")
    return {
        "title": scenario["title"],
        "origin": f"captured on the bench, Debian 12, kernel {kernel}",
        "state": expect["state"],
        "step": expect["step"] if fault else None,
        "rule": expect["rule"] if fault else None,
    }


def main(names: list[str]) -> int:
    """Copy evidence and expectation of each scenario whose verdict is the expected one."""
    rules = load_rules([shipped()])
    kept = 0
    for scenario in load_all():
        name = scenario["name"]
        if names and name not in names:
            continue
        played = tries(cache_dir(), name)
        evidence = saved(played[-1]) if played else None
        if evidence is None or not evidence.exists():
            continue
        data = evidence.read_bytes()
        result = json.loads(played[-1].read_text())
        happened = result["setup"]["code"] == 0 and all(line["code"] == 0 for line in result["look"])
        guest = guest_of(evidence)
        report = judge(load(data, name), rules, guest=load(guest.read_bytes(), name) if guest else None)
        verdict = report.verdict
        found = {
            one.rule
            for chain in report.chains
            for step in chain.steps
            for one in step.findings
            if one.result == "found" and one.explained_by is None
        }
        kernel = json.loads(data)["host"]["kernel"]
        wanted = expectation(scenario, kernel)
        named = wanted["rule"] in found if wanted["rule"] else not found
        if not happened or not named or (verdict.state, verdict.step) != (wanted["state"], wanted["step"]):
            print(f"not kept: {name}: {verdict.state} {verdict.step}")
            continue
        folder = FIXTURES / name
        folder.mkdir(exist_ok=True)
        (folder / "evidence.json").write_bytes(data)
        if guest:
            (folder / "guest.json").write_bytes(guest.read_bytes())
        (folder / "expect.yaml").write_text(yaml.safe_dump(wanted, sort_keys=False, allow_unicode=True, width=100))
        kept += 1
    print(f"{kept} kept in {FIXTURES.name}/")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
