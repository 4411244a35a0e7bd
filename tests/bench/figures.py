"""The table of a run, and the figures that go into README.md."""

from __future__ import annotations

import statistics
from collections import Counter
from pathlib import Path
from typing import Any

from tests.bench.compare import Outcome
from tests.bench.scenario import STEPS

README = Path(__file__).resolve().parent / "README.md"
BEGIN, END = "<!-- figures: begin -->", "<!-- figures: end -->"


def line(out: Outcome) -> str:
    """One line of the table, with the complaints under it."""
    mark = "ok  " if out.passed else "FAIL"
    text = f"{mark} {out.name:<34} {out.seconds:5.0f} s  said: {out.said}"
    text += f"  [without root: {out.person}]" if out.person else ""
    text += f"  [remedy: {out.remedy}]" if out.remedy else ""
    for complaint in out.complaints:
        text += f"\n       - {complaint}"
    return text


def summary(outcomes: list[Outcome], scenarios: dict[str, dict[str, Any]], minutes: float | None) -> str:
    """The figures of a whole run, as Markdown.  Without `minutes` it was judged anew and not played."""
    faults = [o for o in outcomes if scenarios[o.name]["expect"]["state"] in ("broken", "weak")]
    healthy = [o for o in outcomes if o not in faults]
    remedies = [o for o in outcomes if "remedy" in scenarios[o.name]]
    persons = Counter(o.person for o in outcomes)
    proven = sum(o.remedy == "proven" for o in remedies)
    less = persons["unseen"] + persons["part"]
    seconds = sorted(o.seconds for o in outcomes)
    rows = [
        ("scenarios", f"{len(outcomes)} ({len(faults)} faults, {len(healthy)} healthy machines)"),
        ("set-up proven by an independent look", _of(sum(o.happened for o in outcomes), outcomes)),
        ("faults named at their step", _of(sum(o.right_step for o in faults), faults)),
        ("faults named by their rule", _of(sum(o.right_rule for o in faults), faults)),
        ("healthy machines called healthy", _of(sum(o.right_step for o in healthy), healthy)),
        ("false breaks or strains on healthy machines", str(sum(len(o.false_rules) for o in healthy))),
        ("further rules found beside a fault that do not follow from it", str(sum(len(o.false_rules) for o in faults))),
        ("`unseen` where root should have seen", str(sum(o.unseen for o in outcomes))),
        (
            "remedies applied as printed, chain as it should be afterwards",
            _of(proven, remedies),
        ),
        ("without root: the same verdict", _of(persons["same"], outcomes)),
        (
            "without root: `unseen`, or another consequence of the same fault",
            _of(less, outcomes),
        ),
        ("without root: something wrong", str(persons["wrong"] + persons["failed"])),
        ("played twice, since the first try failed", _names([o.name for o in outcomes if o.tries > 1])),
        ("time per scenario", f"median {statistics.median(seconds):.0f} s, longest {seconds[-1]:.0f} s"),
        *([("time of the whole run", f"{minutes:.0f} min")] if minutes is not None else []),
    ]
    text = "| figure | value |\n|---|---|\n"
    text += "".join(f"| {name} | {value} |\n" for name, value in rows)
    return text + "\n" + by_step(outcomes, scenarios)


def by_step(outcomes: list[Outcome], scenarios: dict[str, dict[str, Any]]) -> str:
    """Scenarios by step, with the names of those that went wrong."""
    text = "| step | scenarios | all as expected | not as expected |\n|---|---|---|---|\n"
    for step in ("none (healthy)", *STEPS):
        mine = [o for o in outcomes if scenarios[o.name]["expect"].get("step", "none (healthy)") == step]
        if mine:
            bad = ", ".join(f"`{o.name}`" for o in mine if not o.passed)
            text += f"| {step} | {len(mine)} | {sum(o.passed for o in mine)} | {bad} |\n"
    return text


def write_readme(text: str, readme: Path = README) -> None:
    """Replace what stands between the markers."""
    old = readme.read_text(encoding="utf-8")
    before, rest = old.split(BEGIN)
    _, after = rest.split(END)
    readme.write_text(f"{before}{BEGIN}\n{text.strip()}\n{END}{after}", encoding="utf-8")


def _names(names: list[str]) -> str:
    return f"{len(names)}: {', '.join(f'`{name}`' for name in names)}" if names else "0"


def _of(count: int, whole: list[Any]) -> str:
    return f"{count} of {len(whole)}"
