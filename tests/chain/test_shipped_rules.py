"""Every shipped rule keeps its promises: form, types, placeholders, and each of its examples."""

from __future__ import annotations

from collections import Counter

import pytest

from radiocheck.chain import types
from radiocheck.chain.rule import Rule, StepRule
from radiocheck.chain.rule_check import check_rule
from radiocheck.chain.rules import load, load_steps, read_folder, shipped
from radiocheck.chain.template import placeholders

RULES, COMPLAINTS = read_folder(shipped())


def test_all_files_can_be_read() -> None:
    """No shipped rule file has a complaint, and the set loads as a whole."""
    assert COMPLAINTS == []
    assert set(load([shipped()]).rules) == set(RULES)


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.name)
def test_rule(rule: Rule) -> None:
    """The rule's condition and placeholders type-check, and every example gives what it expects."""
    assert check_rule(rule) == []


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.name)
def test_words(rule: Rule) -> None:
    """A title is one short line, the text names a source, and a break has a remedy that can be checked."""
    assert "\n" not in rule.title
    assert len(rule.title) <= 90
    assert rule.why.endswith((".", "?"))
    assert rule.sources
    if rule.gravity == "break":
        assert any(cure.check for cure in rule.remedies)


def test_the_chain_is_covered() -> None:
    """At least 45 rules, and some for every step that a host can show."""
    steps = Counter(rule.step for rule in RULES.values())
    assert sum(steps.values()) >= 45
    assert {"power", "bus", "driver", "name", "access", "assignment", "handover", "guest"} <= set(steps)


@pytest.mark.parametrize("step", load_steps(shipped() / "steps.yaml"), ids=lambda step: step.name)
def test_steps_type_check(step: StepRule) -> None:
    """The proofs and sights of the steps use facts that exist."""
    for condition in [step.sound, *(sight.when for sight in step.saw)]:
        if condition is not None:
            types.check(condition.text)
    for sight in step.saw:
        for path in placeholders(sight.say):
            assert types.record_at(path) is not None, path
