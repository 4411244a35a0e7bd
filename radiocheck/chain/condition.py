"""Conditions over a view, in the Common Expression Language: compile, check, evaluate.

CEL's own error rules are the three-valued logic that rules need (language definition,
"Logical Operators": an error on one side of && or || is absorbed when the other side
decides).  An absent fact is a missing key, a missing key is an error, and an error that
nothing absorbs means: unknown.  Only this module knows the engine.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache, cached_property
from typing import Any

from msgspec import Struct

from .bound import bounded, raised, variations

# Functions that see whether a fact is there, or how many there are, would turn a lost
# fact into a different answer instead of into unknown.
FORBIDDEN = re.compile(r"\b(has|size|dyn|type|orValue|optional)\s*\(|\.\s*size\b|\?\.")
PATH = re.compile(r"(?<![\w.'\"])([a-z_]+(?:\.[a-z_]+)+)\b(?!\s*\()|(?<![\w.'\"])([a-z_]+)\b(?!\s*\()")
STRING = re.compile(r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"")
ABSENT = ("Key not found in map", "No value with name")
PLACE = re.compile(r"<input>:(\d+):(\d+): (.*)")


class ConditionError(ValueError):
    """The condition cannot be used.  `line` and `column` count from 1 within its text."""

    def __init__(self, message: str, line: int = 1, column: int = 1) -> None:
        super().__init__(message)
        self.line = line
        self.column = column


class Condition(Struct, frozen=True, dict=True):
    """A condition.  It is compiled when it is first asked, since most remedies never are."""

    text: str
    names: tuple[str, ...]  # the variables that it may use

    @cached_property
    def program(self) -> Any:
        """The engine's compiled form.  Raises `ConditionError`."""
        try:
            return _runtime(self.names).compile(self.text)
        except RuntimeError as error:
            raise _placed(error) from None

    @cached_property
    def paths(self) -> tuple[str, ...]:
        """The facts that it asks for."""
        return paths_of(self.text)


class Scope(dict[str, Any]):
    """Facts that the engine takes in once for all conditions that are asked of them.  Not to be changed."""

    @cached_property
    def activation(self) -> Any:
        """The engine's form of them."""
        return _runtime(()).Activation(self)

    @cached_property
    def bounded(self) -> frozenset[str]:
        """Names of the facts that are counts of which more may be there."""
        return bounded(self)

    def of(self, name: str, element: Any) -> Scope:
        """These facts with one element of their lists by a name; it holds no count that is not in the list."""
        inner = Scope({**self, name: element})
        inner.__dict__["bounded"] = self.bounded
        return inner

    @cached_property
    def within(self) -> dict[str, list[Scope]]:
        """The scopes of list elements, by the list's path: many rules ask of the same elements."""
        return {}


@contextmanager
def _without_protobuf() -> Iterator[None]:
    """Keep the engine from importing protobuf, which would cost more than the whole judgement.

    It imports it only to offer message types, which untyped evaluation does not use; it
    works without when the import fails.  `tests/chain/test_condition.py` holds it to that.
    """
    name = "google.protobuf"
    before = sys.modules.get(name)
    if before is not None:
        yield
        return
    sys.modules[name] = None  # type: ignore[assignment]  # the documented way to make an import fail
    try:
        yield
    finally:
        del sys.modules[name]


@cache
def _runtime(names: tuple[str, ...]) -> Any:
    from cel_expr_python import cel

    with _without_protobuf():
        return cel.NewEnv(variables=dict.fromkeys(names, cel.Type.DYN))


def paths_of(text: str) -> tuple[str, ...]:
    """The dotted names that the condition mentions, strings left out, in order."""
    bare = STRING.sub(lambda match: " " * len(match.group()), text)
    found = (match.group(1) or match.group(2) for match in PATH.finditer(bare))
    words = {"true", "false", "null", "in"}
    return tuple(dict.fromkeys(path for path in found if path not in words))


def compile_condition(text: str, names: tuple[str, ...]) -> Condition:
    """A condition that is known to compile.  Raises `ConditionError` with the place."""
    bare = STRING.sub(lambda match: " " * len(match.group()), text)
    if banned := FORBIDDEN.search(bare):
        line = bare.count("\n", 0, banned.start()) + 1
        column = banned.start() - (bare.rfind("\n", 0, banned.start()) + 1) + 1
        word = banned.group().strip("( .")
        raise ConditionError(
            f"`{word}` is not allowed in a condition, because losing a fact must never change the answer; "
            "ask with exists(…) or all(…), or use a counting fact of the view",
            line,
            column,
        )
    condition = Condition(text, names)
    _ = condition.program
    return condition


def evaluate(condition: Condition, facts: Mapping[str, Any], strict: bool = False) -> bool | None:
    """True, False, or None when the facts that are there do not decide.

    With `strict`, an error that is not an absent fact (a null compared by size, say)
    raises `ConditionError`: that is a mistake in the condition.  Without it, the answer
    is None, because a rule's mistake must not become a person's verdict.
    """
    scope = facts if isinstance(facts, Scope) else Scope(facts)
    value = condition.program.eval(activation=scope.activation).value()
    if value is True or value is False:
        return bool(value) if not scope.bounded or _lasts(condition, scope, value) else None
    if strict and not any(mark in str(value) for mark in ABSENT):
        raise ConditionError(f"{value} in `{condition.text}`")
    return None


def _lasts(condition: Condition, scope: Scope, answer: bool) -> bool:
    """Whether the answer is the same if more is there than was seen."""
    asked = scope.bounded & {path.rpartition(".")[2] for path in condition.paths}
    if not asked:
        return True
    more = variations(condition.text, asked)
    if more is None:
        return False
    others = (Scope(raised(scope, values)) for values in more)
    return all(condition.program.eval(activation=other.activation).value() is answer for other in others)


def _placed(error: RuntimeError) -> ConditionError:
    """The engine's message as one sentence with its place."""
    if match := PLACE.search(str(error)):
        return ConditionError(
            match.group(3).removesuffix(" (in container '')"), int(match.group(1)), int(match.group(2))
        )
    return ConditionError(str(error).splitlines()[0])
