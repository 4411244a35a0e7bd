"""The condition engine behaves as the rules need it: three values, typed, placed complaints."""

from __future__ import annotations

import subprocess
import sys

import pytest

from radiocheck.chain.condition import ConditionError, compile_condition, evaluate, paths_of
from radiocheck.chain.types import check

NAMES = ("a", "b", "items")


@pytest.mark.parametrize(
    ("text", "facts", "answer"),
    [
        ("a.x && b.x", {"a": {"x": False}, "b": {}}, False),
        ("b.x && a.x", {"a": {"x": False}, "b": {}}, False),
        ("a.x && b.x", {"a": {"x": True}, "b": {}}, None),
        ("a.x || b.x", {"a": {"x": True}, "b": {}}, True),
        ("b.x || a.x", {"a": {"x": True}, "b": {}}, True),
        ("a.x || b.x", {"a": {"x": False}, "b": {}}, None),
        ("!b.x", {"b": {}}, None),
        ("a.x", {}, None),
        ("a.x == null", {"a": {"x": None}}, True),
        ("a.x == null", {"a": {}}, None),
        ("items.exists(e, e.x == 1)", {"items": [{}, {"x": 1}]}, True),
        ("items.exists(e, e.x == 1)", {"items": [{"x": 2}, {}]}, None),
        ("items.exists(e, e.x == 1)", {"items": [{"x": 2}]}, False),
        ("items.all(e, e.x == 1)", {"items": [{}, {"x": 2}]}, False),
        ("items.all(e, e.x == 1)", {"items": [{}, {"x": 1}]}, None),
    ],
)
def test_three_values(text: str, facts: dict[str, object], answer: bool | None) -> None:
    """An absent fact makes a condition unknown unless the rest decides.

    Source: Common Expression Language, language definition, "Logical Operators" and
    "Macros" (errors are absorbed by && and ||, and by all and exists alike).  The
    definition is cited from memory; the behaviour is held here.
    """
    assert evaluate(compile_condition(text, NAMES), facts, strict=True) is answer


@pytest.mark.parametrize(
    "text", ["has(a.x)", "list.size() > 0", "size(list) > 0", "dyn(a.x) == 1", "a.?x.orValue(1) == 1"]
)
def test_functions_that_see_absence_are_refused(text: str) -> None:
    """What would answer differently for a lost fact cannot be written."""
    with pytest.raises(ConditionError, match="not allowed"):
        compile_condition(text, NAMES)


def test_a_word_in_a_string_is_not_a_function() -> None:
    """Only code is looked at, not the text in quotes."""
    assert evaluate(compile_condition("a.x == 'has(size('", NAMES), {"a": {"x": "has(size("}}) is True


def test_null_compared_by_size_is_a_mistake_of_the_rule() -> None:
    """In strict mode a null where a number is needed is an error, not an unknown."""
    condition = compile_condition("a.x > 1", NAMES)
    assert evaluate(condition, {"a": {"x": None}}) is None
    with pytest.raises(ConditionError):
        evaluate(condition, {"a": {"x": None}}, strict=True)


@pytest.mark.parametrize(
    ("text", "each", "column", "says"),
    [
        ("power.controll == 'auto'", None, 6, "undefined field 'controll'"),
        ("power.control == 3", None, 15, "no matching overload"),
        ("adapter.present && nosuch.x", None, 26, "undeclared reference"),
        ("assignments.exists(a, a.runing)", None, 24, "undefined field 'runing'"),
        ("assignment.mach > 1", "assignments", 11, "undefined field 'mach'"),
        ("adapter.label", None, 1, "must give true or false"),
    ],
)
def test_type_errors_have_their_column(text: str, each: str | None, column: int, says: str) -> None:
    """A misspelt fact or a wrong type is refused at its column."""
    with pytest.raises(ConditionError, match=says) as caught:
        check(text, each)
    assert (caught.value.line, caught.value.column) == (1, column)


def test_second_line_is_counted() -> None:
    """The complaint names the line within a condition of several lines."""
    with pytest.raises(ConditionError) as caught:
        check("adapter.present\n  && adapter.presnt")
    assert (caught.value.line, caught.value.column) == (2, 13)


def test_paths() -> None:
    """The facts that a condition asks for are found; strings and macros are not facts."""
    text = "adapter.present && assignments.exists(a, a.vm == 'bus.speed') && !(power.control in ['auto'])"
    assert paths_of(text) == ("adapter.present", "assignments", "a", "a.vm", "power.control")


def test_evaluation_does_not_load_protobuf() -> None:
    """Judging costs no protobuf import (contract with the pinned engine; see `_without_protobuf`)."""
    code = (
        "import sys; from radiocheck.chain.condition import compile_condition, evaluate;"
        "assert evaluate(compile_condition('a.x == 1', ('a',)), {'a': {'x': 1}}) is True;"
        "assert not any(name.startswith('google.protobuf') for name in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
