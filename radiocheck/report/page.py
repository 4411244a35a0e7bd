"""Rules as text: the list by step, and one rule as a page."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from radiocheck.chain.snippets import SNIPPETS

from . import words
from .escape import command, escape, prose
from .layout import verbatim, wrap

if TYPE_CHECKING:
    from radiocheck.chain.rule import Cure, Rule, RuleSet

GRAVITIES = {
    "break": "break: the step does not work",
    "strain": "strain: it works today, and will fail or already costs something",
}
LABEL = 10  # columns


def listing(rules: RuleSet, width: int = 80, ascii: bool = False) -> str:
    """All rules by step, in the order of the chain, each with its title."""
    lines: list[str] = []
    for step in rules.steps:
        own = sorted((rule for rule in rules.rules.values() if rule.step == step.name), key=lambda rule: rule.name)
        if lines:
            lines.append("")
        lines += wrap(prose(step.question, ascii), width, f"{step.name}: ", "  ")
        if not own:
            lines.append("  no rule")
        longest = max((len(rule.name) for rule in own), default=0)
        for rule in own:
            name = f"  {escape(rule.name, ascii):<{min(longest, 30)}}  "
            lines += wrap(prose(rule.title, ascii), width, name, " " * (min(longest, 30) + 4))
    return "\n".join(lines) + "\n"


def page(rule: Rule, rules: RuleSet, width: int = 80, ascii: bool = False) -> str:
    """One rule: what it means, when it holds, what to do, and where the knowledge is from."""
    question = next((step.question for step in rules.steps if step.name == rule.step), "")

    def part(label: str, said: str) -> list[str]:
        return wrap(prose(said, ascii), width, f"{label:<{LABEL}}", " " * LABEL) if said else []

    lines = [escape(rule.name, ascii), *wrap(prose(rule.title, ascii), width), ""]
    lines += part("step", f"{rule.step}: {question}" if question else rule.step)
    lines += part("gravity", GRAVITIES[rule.gravity])
    lines += part("seen", rule.seen)
    lines += part("why", rule.why)
    lines += part("not when", rule.looks_like)
    lines += part("explains", ", ".join(rule.explains))
    if rule.each:
        lines += part("for each", rule.each)
    lines += ["", "Condition", *_condition(rule.when.text, ascii), ""]
    for number, cure in enumerate(rule.remedies, 1):
        lines += [*_cure(number, cure, width, ascii), ""]
    lines.append("Sources")
    for source in rule.sources:
        lines += wrap(prose(source, ascii), width, "  - ")
    lines += ["", *wrap("Names in braces stand for values of the machine that is judged.", width)]
    return "\n".join(lines) + "\n"


def complaints(found: Sequence[str], ascii: bool = False) -> str:
    """What is wrong with rule files, a line each."""
    return "".join(escape(line, ascii) + "\n" for text in found for line in text.splitlines())


def _cure(number: int, cure: Cure, width: int, ascii: bool) -> list[str]:
    lines = wrap(prose(cure.do, ascii), width, f"{number}. ")
    if cure.snippet:
        made = SNIPPETS[cure.snippet].what
        saved = f", saved as {cure.save}" if cure.save else ""
        lines += wrap(prose(f"{made}{saved}", ascii), width, "   configuration: ", "     ")
    if cure.command:
        lines += verbatim(command(cure.command, ascii), 5)
    risk = words.RISKS[cure.risk] + (f": {cure.interrupts}" if cure.interrupts else "")
    only = cure.when.text if cure.when is not None else ""
    for label, said in (("only if: ", only), ("risk: ", risk), ("beware: ", cure.caution), ("worked if: ", cure.check)):
        if said:
            lines += wrap(prose(said, ascii), width, "   " + label, "     ")
    return lines


def _condition(text: str, ascii: bool) -> list[str]:
    """A condition with its own line breaks."""
    return ["  " + escape(line, ascii) for line in textwrap.dedent(text).strip().split("\n")]
