"""Hypothesis strategies for any of our records, made from their type annotations."""

from __future__ import annotations

import types
import typing
from typing import Any

import msgspec
from hypothesis import strategies as st
from msgspec import UNSET, UnsetType

# Without surrogates: a lone one cannot be written as UTF-8, so it cannot stand in a file.
TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)


def records(kind: Any, text: st.SearchStrategy[str] = TEXT) -> st.SearchStrategy[Any]:
    """Values of an annotation: records with every field drawn, lists of at most two."""
    if typing.get_origin(kind) is typing.Annotated:
        return records(typing.get_args(kind)[0], text)
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        hints = typing.get_type_hints(kind)
        return st.builds(kind, **{name: records(hint, text) for name, hint in hints.items()})
    if typing.get_origin(kind) in (types.UnionType, typing.Union):
        return st.one_of([records(part, text) for part in typing.get_args(kind)])
    if typing.get_origin(kind) is typing.Literal:
        return st.sampled_from(typing.get_args(kind))
    if typing.get_origin(kind) is list:
        return st.lists(records(typing.get_args(kind)[0], text), max_size=2)
    if typing.get_origin(kind) is dict:
        return st.dictionaries(text, text, max_size=2)
    plain: dict[Any, st.SearchStrategy[Any]] = {
        str: text,
        int: st.integers(-(1 << 62), 1 << 62),
        float: st.floats(-6e10, 6e10),
        bool: st.booleans(),
        type(None): st.none(),
        UnsetType: st.just(UNSET),
    }
    return plain[kind]
