"""Everything that can be wrong with rule files, found before a person meets it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from radiocheck.yaml_file import Spot

from . import types
from .condition import Condition, ConditionError
from .fields import condition_complaint
from .finding import decide
from .rule import Example, Rule
from .rules import read_folder
from .template import placeholders
from .view import ELEMENTS, View


def check(folder: Path) -> list[str]:
    """All complaints about a folder of rules: form, types, placeholders, examples."""
    rules, complaints = read_folder(folder)
    for rule in rules.values():
        complaints += check_rule(rule)
    return complaints


def check_rule(rule: Rule) -> list[str]:
    """The complaints about one rule that could be read."""
    if rule.spot is None:  # packed: checked before it was packed
        return []
    complaints = _types(rule.when, rule.spot.value["when"], rule.each)
    remedies = rule.spot.value["remedies"].value
    for cure, spot in zip(rule.remedies, remedies, strict=True):
        if cure.when is not None:
            complaints += _types(cure.when, spot.value["when"], rule.each)
    texts = [rule.spot.value[key] for key in ("title", "seen", "why", "looks_like") if key in rule.spot.value]
    texts += [
        spot.value[key]
        for spot in remedies
        for key in ("do", "command", "interrupts", "caution", "check")
        if key in spot.value
    ]
    for text in texts:
        for path in placeholders(text.value):
            if types.record_at(path, rule.each) is None:
                complaints.append(text.complain(f"`{{{path}}}` is no fact of the view; see `radiocheck/chain/view.py`"))
    if complaints:
        return complaints
    for example in rule.examples:
        complaints += _example(rule, example)
    return complaints


def _types(condition: Condition, spot: Spot, each: str | None) -> list[str]:
    try:
        types.check(condition.text, each)
    except ConditionError as error:
        return [condition_complaint(spot, error)]
    return []


def _example(rule: Rule, example: Example) -> list[str]:
    given = example.spot.value["given"]
    try:
        facts = facts_of(example.given, rule.each)
    except msgspec.ValidationError as error:
        return [given.complain(f"is no partial view: {error}")]
    try:
        result, _ = decide(rule, facts, strict=True)
    except ConditionError as error:
        return [given.complain(f"the condition cannot take this: {error}")]
    if result != example.expect:
        return [example.spot.complain(f"example `{example.name}` gives {result}, expected {example.expect}")]
    return []


def facts_of(given: dict[str, Any], each: str | None) -> dict[str, Any]:
    """A partial view as facts.  An element's singular name stands for a list with just that one."""
    given = dict(given)
    if each is not None and ELEMENTS[each][0] in given:
        element = given.pop(ELEMENTS[each][0])
        *above, last = each.split(".")
        place = given
        for section in above:
            place = place.setdefault(section, {})
        place[last] = [element]
    sections = "host adapter power bus driver name access handover guest radio air".split()
    empty: dict[str, Any] = {name: {} for name in sections}
    view = msgspec.convert({**empty, **given}, View)
    facts: dict[str, Any] = msgspec.to_builtins(view)
    return facts
