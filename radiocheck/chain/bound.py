"""Counts of which more may be there than was seen.

A list that holds only a part tells how many there are at least.  A condition over such a
count is decided when it is the same for every greater number: two devices that a line
picks out are several, however many more were not seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from msgspec import UNSET, UnsetType

MANY = 1 << 40  # more than any machine has
MOST = 4  # counts of one condition that are varied; more than that is left undecided


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


def raised(facts: Any, names: frozenset[str]) -> Any:
    """The same facts, with those counts as great as they can be."""
    if isinstance(facts, dict):
        return {
            name: MANY if name in names and isinstance(value, AtLeast) else raised(value, names)
            for name, value in facts.items()
        }
    return [raised(item, names) for item in facts] if isinstance(facts, list) else facts


def _names(value: Any, name: str) -> Iterator[str]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _names(item, key)
    elif isinstance(value, list):
        for item in value:
            yield from _names(item, name)
    elif isinstance(value, AtLeast):
        yield name
