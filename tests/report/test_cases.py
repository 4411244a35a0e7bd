"""Lines and tables of many cases."""

from __future__ import annotations

import json
from collections import Counter

import jsonschema
import msgspec
import pytest
from msgspec.structs import replace

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import PasteSaid, Report
from radiocheck.report import cases
from radiocheck.report.layout import Look, columns
from radiocheck.report.schema import case_schema
from tests.cli.conftest import HOUSES

RULES = load([shipped()])
STEPS = {rule.name: rule.step for rule in RULES.rules.values()}
EVIL = "hearth\n\x1b[31m\u202egnp.exe"


def report(state: str) -> Report:
    """The judgement of the invented house in that state."""
    return judge(HOUSES[state], RULES)


def pasted(recognised: bool, ask: list[str]) -> Report:
    """A paste that does not suffice for a verdict."""
    said = PasteSaid(lines=9, read=3 * recognised, recognised=recognised, ask=ask)
    return replace(report("unseen"), paste=said)


def tallied(*entries: cases.Entry) -> cases.Tally:
    """The tally of some cases."""
    tally = cases.Tally()
    for entry in entries:
        tally.add(entry)
    return tally


@pytest.mark.parametrize("state", sorted(HOUSES))
def test_entry_says_what_the_verdict_says(state: str) -> None:
    """State and step are the verdict's; the headline is a rule of that step, and only a blamed step has one."""
    entry = cases.judged("a", report(state))
    assert entry.state == state
    assert entry.step == report(state).verdict.step
    assert (entry.rule is None) == (entry.step is None)
    if entry.rule is not None:
        assert STEPS[entry.rule] == entry.step
        assert entry.rule in entry.found


def test_headline_is_the_break() -> None:
    """Of several findings at the blamed step, one that breaks it stands before one that strains it."""
    whole = report("broken")
    chain = whole.chains[0]
    step = next(one for one in chain.steps if one.step == chain.step)
    found = next(one for one in step.findings if one.result == "found")
    strain = replace(found, rule="not-as-bad", gravity="strain")
    follows = replace(found, rule="follows", explained_by=found.rule)
    rest = [one for one in chain.steps if one is not step]
    more = replace(chain, steps=[replace(step, findings=[strain, follows, *step.findings]), *rest])
    entry = cases.judged("a", replace(whole, chains=[more]))
    assert entry.rule == found.rule
    assert "not-as-bad" in entry.found
    assert "follows" not in entry.found


def test_other_adapters_are_counted() -> None:
    """A line is about the worst adapter, and says how many there are besides."""
    whole = report("weak")
    entry = cases.judged("a", replace(whole, chains=[whole.chains[0]] * 3))
    assert cases.line(entry, 1, Look(), whole=True).endswith("(+2)")


@pytest.mark.parametrize("state", sorted(HOUSES))
def test_json_line(state: str) -> None:
    """The line is the report, with `case` before it, and keeps to the schema."""
    text = cases.encoded(EVIL, report(state))
    assert text.endswith("}\n")
    assert text.count("\n") == 1
    assert text.isascii()
    found = json.loads(text)
    jsonschema.validate(found, case_schema())
    assert next(iter(found)) == "case"
    assert found.pop("case") == EVIL
    assert msgspec.convert(found, Report) == report(state)


def test_json_line_of_what_could_not_be_read() -> None:
    """It has the file's name and the complaint, and nothing that a report has."""
    found = json.loads(cases.encoded_unread(cases.unread(EVIL, "is empty\udcff")))
    jsonschema.validate(found, case_schema())
    assert found == {"case": EVIL, "error": "is empty" + "\ufffd" * 3}  # one for each byte that is no UTF-8
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"case": EVIL}, case_schema())


def test_line_is_harmless() -> None:
    """Names, labels and complaints with controls and bidirectional overrides are one line that shows them."""
    for entry in (cases.Entry(case=EVIL, state="weak", step="bus", about=EVIL), cases.unread(EVIL, EVIL)):
        text = cases.line(entry, 10, Look(), whole=True)
        assert text.isprintable()
        assert text.count("\\x0a") == text.count("\\u202e") == 2


@pytest.mark.parametrize("width", [40, 80, 110])
def test_line_fits_the_terminal(width: int) -> None:
    """On a terminal the adapter is cut or left out; file, state, step and rule never are."""
    entry = cases.Entry(case="a.json", state="broken", step="handover", rule="lost-by-replug", about="x" * 200)
    text = cases.line(entry, 6, Look(width), whole=False)
    assert text.split()[:4] == ["a.json", "broken", "handover", "lost-by-replug"]
    assert columns(text) <= max(width, 54)
    assert cases.line(entry, 6, Look(width), whole=True).endswith("x" * 200)


def test_complaint_and_name_are_never_cut() -> None:
    """What went wrong with which file is there in full, however narrow the terminal."""
    name, why = "n" * 300, "why " * 40
    assert cases.line(cases.unread(name, why.strip()), 40, Look(40), whole=False) == f"{name}  unread  {why.strip()}"


def test_columns_stand_below_each_other() -> None:
    """States begin at the same column, colours or not."""
    lines = [
        cases.line(cases.Entry(case=name, state="weak", step="bus", about="x"), 9, Look(80, colour), whole=True)
        for name in ("a", "b/c.json") for colour in (False, True)
    ]  # fmt: skip
    assert {text.replace("\x1b[33m", "").index("weak") for text in lines} == {11}
    assert ["\x1b" in text for text in lines] == [False, True, False, True]


def test_paste_says_what_to_ask_for() -> None:
    """A paste that does not suffice names the commands; one with nothing in it is told apart."""
    assert cases.judged("a", pasted(True, ["lsusb", "id"])).about == "ask for: lsusb; id"
    blank = cases.judged("b", pasted(False, ["lsusb"]))
    assert (blank.about, blank.blank) == ("nothing recognised", True)
    text = "\n".join(cases.summary(tallied(blank), Counter(), STEPS, Look()))
    assert "1 case: 1 unseen (in 1 of them nothing was recognised)." in text
    assert "Nothing was recognised in:\n  b" in text


def test_summary_counts() -> None:
    """Numbers by state, by step and by rule are those of the lines."""
    entries = [cases.judged(state, report(state)) for state in ("broken", "broken", "weak", "sound", "unseen")]
    text = "\n".join(cases.summary(tallied(*entries, cases.unread("x", "is empty")), Counter(link=2), STEPS, Look()))
    assert text.startswith("6 cases: 2 broken, 1 weak, 1 unseen, 1 sound, 1 could not be read.\n")
    rows = [line.split() for line in text.splitlines()]
    broken, weak = entries[0], entries[2]
    assert [broken.step, "2", "0"] in rows
    assert [weak.step, "0", "1"] in rows
    assert [broken.rule, broken.step, "2", "2"] in rows
    assert [weak.rule, weak.step, "1", "1"] in rows
    assert "Could not be read:\n  x\n" in text
    assert text.endswith("Left out in the folders: 2 links.")


def test_summary_stays_small() -> None:
    """However many files could not be read, some are named and the others counted; so is what a tally keeps."""
    tally = tallied(*(cases.unread(f"file-{number}", "is empty") for number in range(5000)))
    lines = cases.summary(tally, Counter(), STEPS, Look())
    assert "  file-0" in lines
    assert f"  and {5000 - cases.SHOWN} more" in lines
    assert len(lines) < 20
    assert len(tally.unread) == cases.SHOWN
