"""The shipped rules in one file, as a wheel carries them: quick to read, checked before it was made."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from .condition import Condition
from .rule import Cure, Rule, RuleSet, Sight, StepRule, names_for

NAME = "packed.json"  # made by hatch_build.py


def read(file: Path) -> RuleSet:
    """The rule set of a pack.  Its conditions are compiled when they are first asked."""
    data: dict[str, Any] = msgspec.json.decode(file.read_bytes())
    steps = tuple(_step(entry) for entry in data["steps"])
    rules = {entry["rule"]: _rule(entry, file) for entry in data["rules"]}
    return RuleSet(steps, rules)


def _rule(entry: dict[str, Any], file: Path) -> Rule:
    each = entry.get("each")
    names = names_for(each)
    return Rule(
        name=entry["rule"],
        step=entry["step"],
        gravity=entry["gravity"],
        title=entry["title"],
        seen=entry["seen"],
        why=entry["why"],
        when=Condition(entry["when"], names),
        each=each,
        explains=tuple(entry.get("explains", ())),
        looks_like=entry.get("looks_like", ""),
        remedies=tuple(_cure(cure, names) for cure in entry["remedies"]),
        sources=tuple(entry["sources"]),
        examples=(),
        file=file.parent / entry["step"] / f"{entry['rule']}.yaml",
        spot=None,
    )


def _cure(entry: dict[str, Any], names: tuple[str, ...]) -> Cure:
    when = entry.get("when")
    return Cure(
        do=entry["do"],
        risk=entry["risk"],
        command=entry.get("command"),
        snippet=entry.get("snippet"),
        save=entry.get("save"),
        interrupts=entry.get("interrupts"),
        caution=entry.get("caution"),
        check=entry.get("check"),
        when=Condition(when, names) if when else None,
    )


def _step(entry: dict[str, Any]) -> StepRule:
    names = names_for(None)
    sound = entry.get("sound")
    return StepRule(
        name=entry["step"],
        question=entry["question"],
        routes=tuple(entry["routes"]),
        sound=Condition(sound, names) if sound else None,
        unused=entry.get("unused", ""),
        unseen=entry["unseen"],
        beyond=entry.get("beyond", False),
        saw=tuple(
            Sight(sight["say"], Condition(sight["when"], names) if "when" in sight else None)
            for sight in entry.get("saw", ())
        ),
    )
