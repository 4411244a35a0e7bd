"""The records of a rule set."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from .condition import Condition
from .verdict import Gravity, Risk, Route, StepName
from .view import ELEMENTS, View

if TYPE_CHECKING:  # reading YAML is not needed for rules that come packed
    from radiocheck.yaml_file import Spot


def names_for(each: str | None) -> tuple[str, ...]:
    """The variables of a condition: the view's sections, and the element of a rule with `each`."""
    return View.__struct_fields__ + ((ELEMENTS[each][0],) if each else ())


class Cure(Struct, frozen=True):
    """A remedy as written: texts with placeholders, and when it applies."""

    do: str
    risk: Risk
    command: str | None
    snippet: str | None  # name of the configuration to paste
    save: str | None  # file of that configuration, which the command names
    interrupts: str | None
    caution: str | None
    check: str | None
    when: Condition | None


class Example(Struct, frozen=True):
    """Partial evidence, as a view, with the expected result."""

    name: str
    given: dict[str, Any]
    expect: str
    spot: Spot


class Rule(Struct, frozen=True):
    """One trouble."""

    name: str
    step: StepName
    gravity: Gravity
    title: str
    seen: str
    why: str
    when: Condition
    each: str | None
    explains: tuple[str, ...]
    looks_like: str
    remedies: tuple[Cure, ...]
    sources: tuple[str, ...]
    examples: tuple[Example, ...]
    file: Path
    spot: Spot | None  # none: from a packed set, which was checked before it was packed

    def complain(self, what: str) -> str:
        """A complaint about the rule as a whole."""
        return self.spot.complain(what) if self.spot else f"{self.file}: {what}"


class Sight(Struct, frozen=True):
    """A plain fact that a step shows, when all its values are known."""

    say: str
    when: Condition | None


class StepRule(Struct, frozen=True):
    """One step of the chain: its question, who uses it, and what proves it sound."""

    name: StepName
    question: str
    routes: tuple[Route, ...]
    sound: Condition | None  # none: nothing on the host can prove it
    unused: str
    unseen: str
    beyond: bool  # lies beyond what this machine can show; does not keep a chain from being sound
    saw: tuple[Sight, ...]


class RuleSet(Struct, frozen=True):
    """The steps in order and the rules by name."""

    steps: tuple[StepRule, ...]
    rules: dict[str, Rule]
