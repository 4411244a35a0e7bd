"""Counts of which more may be there than was seen.

A list that holds only a part tells how many there are at least.  A condition over such a
count is decided when it is the same for every greater number: two devices that a line
picks out are several, however many more were not seen.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import product
from typing import Any

from msgspec import UNSET, UnsetType

MANY = 1 << 40  # more than any machine has
MOST = 200  # variations of one condition; with more it is left undecided

_LITERAL = re.compile(r"(?<![\w.'])\d{1,9}\b")


class AtLeast(int):
    """So many were seen, and there may be more."""

    def __str__(self) -> str:
        return f"at least {int(self)}"


def count(seen: int, whole: bool) -> int:
    """A count over a list that is whole, or holds a part only."""
    return seen if whole else AtLeast(seen)


def certain(seen: bool, whole: bool) -> bool | UnsetType:
    """Whether there is something in a list; what was not seen may be in the part that is missing."""
    return True if seen else False if whole else UNSET


def bounded(facts: Any) -> frozenset[str]:
    """The names of the facts that are such counts."""
    return frozenset(_names(facts, ""))


def variations(condition: str, names: frozenset[str]) -> Iterator[dict[str, int]] | None:
    """Values that the counts of these names may have and that a condition can tell apart; None: too many."""
    numbers = {int(match) for match in _LITERAL.findall(condition)}
    steps = sorted({0, MANY} | numbers | {number + 1 for number in numbers})
    if len(steps) ** len(names) > MOST:
        return None
    return (dict(zip(sorted(names), chosen, strict=True)) for chosen in product(steps, repeat=len(names)))


def raised(facts: Any, values: dict[str, int]) -> Any:
    """The same facts, with counts of which more may be there at least as great as these values."""
    if isinstance(facts, dict):
        return {
            name: max(int(value), values.get(name, 0)) if isinstance(value, AtLeast) else raised(value, values)
            for name, value in facts.items()
        }
    return [raised(item, values) for item in facts] if isinstance(facts, list) else facts


def _names(value: Any, name: str) -> Iterator[str]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _names(item, key)
    elif isinstance(value, list):
        for item in value:
            yield from _names(item, name)
    elif isinstance(value, AtLeast):
        yield name
