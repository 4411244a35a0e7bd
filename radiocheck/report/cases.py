"""Many cases: a line for each, and tables of what they have in common."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import get_args

from msgspec import Struct

from radiocheck.chain.verdict import ChainState, Report, StepName, headline
from radiocheck.evidence.store import encode

from .escape import LONG, NAME, escape
from .layout import Look, columns, cut, listed, wrap
from .table import table

STATES: tuple[ChainState, ...] = ("broken", "weak", "unseen", "sound")
UNREAD = "unread"
GAP = "  "
ORDER = get_args(StepName)
PLURAL = {
    "hidden name": "hidden names",
    "link": "links",
    "pipe, socket or device": "pipes, sockets or devices",
}
WIDEST_NAME = 40  # columns that the names are given at most; a longer name pushes its own line
STATE, STEP, RULE = 6, 10, 26  # columns; the few longer names of rules push their own line
SHORTEST = 8  # columns of a last cell below which it is left out
LONGEST_NAME = 5000  # characters; a path has at most 4096 bytes (limits.h, PATH_MAX)
SHOWN = 10  # files that say nothing and are named again at the end
NOTHING = "nothing recognised"


class Entry(Struct, frozen=True, kw_only=True):
    """What is said of one case."""

    case: str  # its file
    state: ChainState | None = None  # null: it could not be read
    step: StepName | None = None  # blamed
    rule: str | None = None  # the headline: what blames the step
    about: str = ""  # the adapter, else what to ask for or the verdict's sentence; or why it could not be read
    blank: bool = False  # a text in which nothing was recognised
    others: int = 0  # adapters besides
    found: list[str] = []  # rules that found their trouble in any of its chains, unless it follows from another


@dataclass
class Tally:
    """What was counted; its size depends on the rules, not on the number of cases."""

    states: Counter[ChainState | None] = field(default_factory=Counter)
    steps: Counter[tuple[StepName, ChainState | None]] = field(default_factory=Counter)
    headlines: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    unread: list[str] = field(default_factory=list)  # the first of them
    blanks: int = 0
    blank: list[str] = field(default_factory=list)  # the first of them

    def add(self, entry: Entry) -> None:
        """Count one case."""
        self.states[entry.state] += 1
        self.found.update(entry.found)
        if entry.step is not None:
            self.steps[entry.step, entry.state] += 1
        if entry.rule is not None:
            self.headlines[entry.rule] += 1
        if entry.state is None and len(self.unread) < SHOWN:
            self.unread.append(entry.case)
        if entry.blank:
            self.blanks += 1
            if len(self.blank) < SHOWN:
                self.blank.append(entry.case)


def judged(case: str, report: Report) -> Entry:
    """What to say of a case from its report."""
    worst = report.chains[0] if report.chains else None
    steps = [step for chain in report.chains for step in chain.steps]
    found = [one for step in steps for one in step.findings if one.result == "found" and one.explained_by is None]
    paste = report.paste
    if paste is not None and not paste.recognised:
        about = NOTHING
    elif worst is not None:
        about = worst.adapter.label
    else:
        about = report.verdict.sentence
    if paste is not None and report.verdict.state == "unseen" and paste.recognised and paste.ask:
        about = f"ask for: {'; '.join(paste.ask)}"
    return Entry(
        case=case,
        state=report.verdict.state,
        step=report.verdict.step,
        rule=headline(worst) if worst else None,
        about=about,
        blank=paste is not None and not paste.recognised,
        others=max(0, len(report.chains) - 1),
        found=sorted({one.rule for one in found}),
    )


def unread(case: str, why: str) -> Entry:
    """What to say of a file that could not be read."""
    return Entry(case=case, about=why)


def encoded(case: str, report: Report) -> str:
    """The report as one line of ASCII JSON that begins with `case`: schemas/case.schema.json."""
    return f'{{"case":{json.dumps(case)},{encode(report, indent=None).decode("ascii")[1:]}'


def encoded_unread(entry: Entry) -> str:
    """The line of a file that could not be read: `case` and `error`."""
    return encode({"case": entry.case, "error": entry.about}, indent=None).decode("ascii")


def shown(case: str, ascii: bool = False) -> str:
    """A file's name, harmless, and never cut: it is there to be copied."""
    return escape(case, ascii, LONGEST_NAME)


def line(entry: Entry, name: int, look: Look, whole: bool) -> str:
    """One line: file, state, step, rule and adapter.

    `name`: columns of the longest name; `whole`: it need not fit the width.  A complaint is never cut.
    """
    first, state = _padded(shown(entry.case, look.ascii), min(name, WIDEST_NAME)), _padded(entry.state or UNREAD, STATE)
    rest = (
        "" if entry.state is None else _padded(entry.step or "-", STEP) + GAP + _padded(entry.rule or "-", RULE) + GAP
    )
    about = escape(entry.about, look.ascii, NAME if entry.state else LONG)
    more = f" (+{entry.others})" if entry.others else ""
    if not whole and entry.state is not None:
        room = look.width - columns(first + GAP + state + GAP + rest) - len(more)
        about, more = (cut(about, room, look.ascii), more) if room >= SHORTEST else ("", "")
    return f"{first}{GAP}{look.paint(state, entry.state or 'bold')}{GAP}{rest}{about}{more}".rstrip()


def _padded(text: str, width: int) -> str:
    return text + " " * (width - columns(text))


def summary(tally: Tally, left: Counter[str], steps: Mapping[str, StepName], look: Look) -> list[str]:
    """Counts, the tables of steps and rules (`steps`: the step of each rule), and which files said nothing."""
    lines = wrap(counted(tally), look.width)
    blamed = [step for step in ORDER if any(key[0] == step for key in tally.steps)]
    if blamed:
        rows = [[step, *(str(tally.steps[step, state]) for state in ("broken", "weak"))] for step in blamed]
        lines += ["", *table(("step blamed", "broken", "weak"), rows, look)]
    rules = sorted(
        tally.found,
        key=lambda rule: (-tally.headlines[rule], -tally.found[rule], ORDER.index(steps[rule]), rule),
    )
    if rules:
        rows = [[rule, steps[rule], str(tally.headlines[rule]), str(tally.found[rule])] for rule in rules]
        lines += ["", *table(("rule", "step", "headline", "found"), rows, look, left=(0, 1))]
    lines += _named("Could not be read", tally.unread, tally.states[None], look)
    lines += _named("Nothing was recognised in", tally.blank, tally.blanks, look)
    if left.total():
        lines += ["", *wrap(left_out(left), look.width)]
    return lines


def _named(what: str, names: Sequence[str], number: int, look: Look) -> list[str]:
    if not names:
        return []
    more = [f"  and {number - len(names)} more"] if number > len(names) else []
    return ["", f"{what}:", *(f"  {shown(name, look.ascii)}" for name in names), *more]


def counted(tally: Tally) -> str:
    """How many there are of each state."""
    number = tally.states.total()
    said = [f"{tally.states[state]} {state}" for state in STATES if tally.states[state]]
    if tally.blanks and "unseen" in tally.states:
        place = said.index(f"{tally.states['unseen']} unseen")
        said[place] += f" (in {tally.blanks} of them nothing was recognised)"
    if tally.states[None]:
        said.append(f"{tally.states[None]} could not be read")
    return f"{number} case{'s' * (number != 1)}: {', '.join(said)}."


def left_out(left: Counter[str]) -> str:
    """What lies in the folders and was not looked at."""
    parts = [f"{number} {what if number == 1 else PLURAL[what]}" for what, number in sorted(left.items())]
    return f"Left out in the folders: {listed(parts)}."
