"""Records by columns, and back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radiocheck.evidence.columns import DEEP, NotColumns, packed, unpacked

DEMO = Path(__file__).parents[2] / "fixtures" / "demo" / "evidence.json"
KEYS = st.sampled_from(["a", "b", "#", "##", "-", "+", "", "+a"])
VALUES: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers(0, 3) | st.text("#-+0a", max_size=2),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=25,
)


@given(VALUES)
def test_every_value_comes_back(value: Any) -> None:
    """Also one whose keys are our own signs, whose records differ, or are empty."""
    assert unpacked(packed(value)) == value


def test_by_columns() -> None:
    """Names stand once; a key that not every record has says which of them do."""
    assert packed([{"a": 1, "b": 2}, {"a": 3}]) == {"#": {"a": [1, 3], "b": [2]}, "-": {"b": "10"}}
    assert packed([{"a": [{"c": 1}]}, {"a": [{"c": 2}, {"c": 3}]}]) == {
        "#": {"a": {"+": [1, 2], "#": {"#": {"c": [1, 2, 3]}}}}
    }


def test_smaller() -> None:
    """The demo's evidence has names in a third of its letters."""
    demo = json.loads(DEMO.read_text())
    assert len(json.dumps(packed(demo))) < 0.7 * len(json.dumps(demo))
    assert unpacked(packed(demo)) == demo


@pytest.mark.parametrize(
    "value",
    [
        {"#": []},
        {"#": {}},
        {"#": {"a": 1}},
        {"#": {"a": [1], "b": [1, 2]}},
        {"#": {"a": [1]}, "-": {"a": "11"}},
        {"#": {"a": [1]}, "-": {"a": "2"}},
        {"#": {"a": [1]}, "-": 1},
        {"#": {"a": [1]}, "x": 1},
        {"#": {"a": {"b": 1}}},
        {"#": {"a": {"+": [2], "#": {"#": {"b": [1]}}}}},
        {"#": {"a": {"+": [-1, 2], "#": {"#": {"b": [1]}}}}},
        {"#": {"a": {"+": [1e9], "#": {"#": {"b": [1]}}}}},
        {"#": {"a": {"+": [1], "#": 1}}},
        {"-a": 1},
    ],
)
def test_nothing_of_ours(value: Any) -> None:
    """Columns that `packed` never makes are refused; none stands for more than it holds."""
    with pytest.raises(NotColumns):
        unpacked(value)


def test_depth() -> None:
    """Nesting has a bound."""
    value: Any = 1
    for _ in range(DEEP + 2):
        value = {"#": {"a": [value]}}
    with pytest.raises(NotColumns):
        unpacked(value)


@given(
    st.recursive(
        VALUES,
        lambda inner: st.fixed_dictionaries({"#": inner}) | st.fixed_dictionaries({"#": inner, "-": inner}),
        max_leaves=10,
    )
)
def test_hostile(value: Any) -> None:
    """Whatever stands there is unpacked or refused, and nothing else happens."""
    try:
        plain = unpacked(value)
    except NotColumns:
        return
    assert unpacked(packed(plain)) == plain
