"""The third state of a field: absent, because nobody could look."""

from __future__ import annotations

from typing import Any, TypeGuard, TypeVar

from msgspec import UNSET, UnsetType

T = TypeVar("T")

__all__ = ["UNSET", "UnsetType", "known", "seen"]


def known(value: T | UnsetType) -> TypeGuard[T]:
    """True when somebody looked, whether or not there was anything to see."""
    return value is not UNSET


def seen(value: Any) -> bool:
    """True when somebody looked and there was a value (neither absent nor null)."""
    return value is not UNSET and value is not None
