"""Losing evidence turns an answer into unknown, and never into the other answer."""

from __future__ import annotations

import re
import typing
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec import Struct

from radiocheck.chain.condition import evaluate
from radiocheck.chain.finding import decide
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.types import field_types
from radiocheck.chain.view import View

RULES = load([shipped()])
CONDITIONS = [rule.when.text for rule in RULES.rules.values()] + [step.sound.text for step in RULES.steps if step.sound]
# The words that conditions compare with make random views that reach into them.
WORDS = sorted({word for text in CONDITIONS for word in re.findall(r"'([^']*)'", text)} | {"x"})
NUMBERS = sorted({int(word) for text in CONDITIONS for word in re.findall(r"\b\d+\b", text)} | {0, 1, 2, 3, 10})


def values(hint: Any) -> st.SearchStrategy[Any]:
    """Values of a field of the view."""
    if typing.get_origin(hint) is list:
        return st.lists(values(typing.get_args(hint)[0]), max_size=2)
    options = typing.get_args(hint) or (hint,)
    simple = {
        str: st.sampled_from(WORDS),
        int: st.sampled_from(NUMBERS + [number + 1 for number in NUMBERS]),
        bool: st.booleans(),
        type(None): st.none(),
    }
    return st.one_of([records(option) if issubclass(option, Struct) else simple[option] for option in options])


def records(record: type[Struct]) -> st.SearchStrategy[dict[str, Any]]:
    """Records of the view with every field known."""
    return st.fixed_dictionaries({name: values(hint) for name, hint in field_types(record).items()})


def lose(value: Any, draw: st.DataObject, odds: int) -> Any:
    """A copy with some facts gone; a lost list element leaves its empty stand-in."""
    if isinstance(value, dict):
        return {
            name: lose(inner, draw, odds)
            for name, inner in value.items()
            if isinstance(inner, dict) or draw.draw(st.integers(0, odds)) > 0
        }
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [lose(inner, draw, odds) if draw.draw(st.booleans()) else {} for inner in value]
    return value


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(records(View), st.data())
def test_no_rule_flips(view: dict[str, Any], data: st.DataObject) -> None:
    """For every rule and every step's proof: what fewer facts answer, all facts answer too."""
    fewer = lose(view, data, 4)
    for rule in RULES.rules.values():
        before, after = decide(rule, view)[0], decide(rule, fewer)[0]
        assert after in (before, "unknown"), rule.name
    for step in RULES.steps:
        if step.sound is not None:
            all_facts, some_facts = evaluate(step.sound, view), evaluate(step.sound, fewer)
            assert some_facts in (all_facts, None), step.name
