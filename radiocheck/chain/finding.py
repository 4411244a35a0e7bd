"""One rule, one view: what the rule says, in words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any

from radiocheck.evidence.record import Gap

from .condition import Scope, evaluate
from .rule import Cure, Rule
from .template import ABSENT, command, fill, look_up
from .types import field_needs, record_at
from .verdict import Finding, Missing, Remedy, Result
from .view import ELEMENTS

if TYPE_CHECKING:
    from .snippet import Made

Facts = Mapping[str, Any]

REASONS = {
    "denied": "this user may not read it",
    "no-tool": "no program here can read it",
    "timed-out": "it did not answer in time",
    "failed": "it could not be read",
    "not-here": "it is not to be had here",
    "malformed": "it could not be understood",
}


_PART = re.compile(r"[\[.]")  # what begins a part of a field


def decide(rule: Rule, facts: Facts, strict: bool = False) -> tuple[Result, Facts]:
    """The rule's answer, and the facts that gave it (with the element that a rule with `each` met).

    A rule with `each` is found when one element meets it, clear when none can, and
    unknown otherwise.
    """
    unknown: Facts | None = None
    for scope in _scopes(rule, facts):
        answer = None if scope is ABSENT else evaluate(rule.when, scope, strict)
        if answer is True:
            return "found", scope
        if answer is None and unknown is None:
            unknown = facts if scope is ABSENT else scope
    return ("clear", facts) if unknown is None else ("unknown", unknown)


def finding(rule: Rule, facts: Facts, gaps: Sequence[Gap]) -> Finding:
    """The rule's answer as a record with its words filled in."""
    result, scope = decide(rule, facts)
    if result == "clear":
        return Finding(rule=rule.name, result=result, gravity=rule.gravity)
    if result == "unknown":
        missing = lacking(rule.when.paths, scope, rule.each, gaps)
        return Finding(rule=rule.name, result=result, gravity=rule.gravity, missing=missing)
    return Finding(
        rule=rule.name,
        result=result,
        gravity=rule.gravity,
        title=fill(rule.title, scope),
        seen=fill(rule.seen, scope),
        why=fill(rule.why, scope),
        looks_like=fill(rule.looks_like, scope),
        remedies=[_remedy(cure, scope) for cure in rule.remedies if _applies(cure, scope)],
    )


def lacking(paths: Sequence[str], facts: Facts, each: str | None, gaps: Sequence[Gap]) -> list[Missing]:
    """The evidence behind the facts that a condition asks for and that are absent."""
    wanted: dict[str, None] = {}
    for path in paths:
        place = record_at(path, each)
        if place is None:
            continue
        value = look_up(facts, path)
        hidden = isinstance(value, list) and any(item == {} for item in value)
        if value is ABSENT or hidden:
            wanted.update(dict.fromkeys(field_needs(*place)))
    if each is not None and look_up(facts, each) is ABSENT:
        place = record_at(each)
        wanted.update(dict.fromkeys(field_needs(*place) if place else ()))
    return explain(list(wanted), gaps)


class Gaps(list[Gap]):
    """Gaps that every unknown rule asks about, found by field.  Not to be changed."""

    @cached_property
    def by_field(self) -> dict[str, list[Gap]]:
        """The gaps of each field, with those of its parts (`usb[1-2].serial` is a gap of `usb`)."""
        found: dict[str, list[Gap]] = {}
        for gap in self:
            heads = [gap.what[: part.start()] for part in _PART.finditer(gap.what)]
            for field in dict.fromkeys([*heads, gap.what]):
                found.setdefault(field, []).append(gap)
        return found


def explain(fields: Sequence[str], gaps: Sequence[Gap]) -> list[Missing]:
    """Why those fields of the evidence are absent, by the gaps; without a gap: not in this evidence."""
    by_field = (gaps if isinstance(gaps, Gaps) else Gaps(gaps)).by_field
    found: dict[tuple[str, str], Missing] = {}
    for field in fields:
        mine = by_field.get(field, [])
        for gap in mine:
            reason = REASONS.get(gap.why, gap.why)
            why = f"{reason}: {gap.detail}" if gap.detail else reason
            found.setdefault((field, gap.provide), Missing(what=field, why=why, provide=gap.provide))
        if not mine:
            found.setdefault((field, ""), Missing(what=field, why="it is not in this evidence", provide=""))
    return list(found.values())


def _scopes(rule: Rule, facts: Facts) -> Iterator[Any]:
    if rule.each is None:
        yield facts
        return
    scope = facts if isinstance(facts, Scope) else Scope(facts)
    if rule.each not in scope.within:
        elements = look_up(scope, rule.each)
        if elements is ABSENT:
            yield ABSENT
            return
        name = ELEMENTS[rule.each][0]
        scope.within[rule.each] = [scope.of(name, element) for element in elements]
    yield from scope.within[rule.each]


def _applies(cure: Cure, facts: Facts) -> bool:
    return cure.when is None or evaluate(cure.when, facts) is True


def _made(snippet: str, facts: Facts) -> Made | None:
    from .snippets import make  # a machine without a finding needs none of them

    return make(snippet, facts)


def _remedy(cure: Cure, facts: Facts) -> Remedy:
    """The remedy with its values.  A command that reads a file is worth nothing without what goes into it."""
    made = _made(cure.snippet, facts) if cure.snippet else None
    runs = command(cure.command, facts) if cure.command and (made or not cure.save) else None
    return Remedy(
        do=fill(cure.do, facts),
        risk=cure.risk,
        configuration=made.text if made else None,
        file=cure.save if runs else None,
        command=runs,
        gives_up=made.gives_up if made else None,
        interrupts=fill(cure.interrupts, facts) if cure.interrupts else None,
        caution=fill(cure.caution, facts) if cure.caution else None,
        check=fill(cure.check, facts) if cure.check else None,
    )
