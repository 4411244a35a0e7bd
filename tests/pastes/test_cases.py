"""Pastes as people send them, each judged to its confirmed cause, and not otherwise when it was mangled on the way.

A case is `cases/NAME.txt` and beside it `cases/NAME.yaml`: `cause` in one sentence, `accept` (the verdicts
that are right, the best first: `state:step`, or `unseen`, `sound`), and, for a gap that is known, `now: unseen`
with `because`.  `fails` names changes of the paste, or `ask`, after which it is known to be judged badly, and why.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Literal

import msgspec
import pytest
import yaml

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.verdict import Report
from radiocheck.cli.judging import answer, case, with_reasons
from radiocheck.evidence.record import Evidence
from radiocheck.pastes.because import MOST_ADDED, MOST_TRIES
from radiocheck.pastes.line import lines

FILES = sorted((Path(__file__).parent / "cases").glob("*.txt"))
RULES = load([shipped()])
RIGHT = 412  # cases that are judged rightly; it only ever grows
STAMP = re.compile(r"(?m)^((?:> )*)\[ *\d+\.\d+\] ")  # as dmesg prints it, also in a quotation
PROSE = (
    "The shelf in the hall was painted last spring, and the green has faded a little since.",
    "We had soup first, then bread, and everybody was asked to bring a chair of their own.",
    "Is there still a train on Sunday evening? The one at nine was full the last time.",
    "",
    "It rained for most of the week; the path along the river was closed for two days.",
)


class Known(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is known of a case."""

    cause: str
    accept: list[str]
    now: Literal["unseen"] | None = None
    because: str = ""
    fails: dict[str, str] = {}  # a change, or `untimed`, or `ask` → why


@cache
def known(file: Path) -> Known:
    """What stands beside a paste."""
    return msgspec.convert(yaml.safe_load(file.with_suffix(".yaml").read_text()), Known)


def word(report: Report) -> str:
    """A verdict as `accept` writes it."""
    said = report.verdict
    return f"{said.state}:{said.step}" if said.state in ("broken", "weak") else said.state


def judged(text: str, name: str = "case") -> str:
    """The verdict on a text, without its reasons."""
    return word(answer(text.encode(), name, RULES, reasons=False).report)


@cache
def explained(file: Path) -> tuple[Report, int]:
    """The report on a case with its reasons, and how many judgements that cost."""
    found = case(file.read_bytes(), file.name)
    tries = 0

    def counted(evidence: Evidence) -> Report:
        nonlocal tries
        tries += 1
        return judge(evidence, RULES)

    return with_reasons(counted(found.posted.evidence), found, counted), tries


def hold(file: Path, what: str, fine: bool, otherwise: str) -> None:
    """Hold a case to something, unless its record says that this is known to fail."""
    because = known(file).fails.get(what)
    if because is None:
        assert fine, otherwise
    else:
        assert not fine, f"{what} is well now: remove it from `fails` in {file.stem}.yaml"
        pytest.xfail(because)


each = pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)


def test_each_paste_has_its_cause() -> None:
    """No paste is without a record, and no record without a paste."""
    assert FILES
    assert {file.stem for file in FILES} == {file.stem for file in FILES[0].parent.glob("*.yaml")}


@each
def test_record(file: Path) -> None:
    """A record names verdicts of known steps, in one sentence the cause, and a reason for each known gap."""
    record = known(file)
    steps = {step.name for step in RULES.steps}
    assert record.cause.strip()
    assert record.accept
    for one in record.accept:
        state, _, step = one.partition(":")
        assert (state in ("unseen", "sound") and not step) or (state in ("broken", "weak") and step in steps), one
    assert (record.now is None) == (not record.because)
    assert record.now not in record.accept
    assert set(record.fails) <= {*CHANGES, "untimed", "ask"}
    assert all(record.fails.values())


@each
def test_verdict(file: Path) -> None:
    """The verdict is one that the confirmed cause allows, or the gap that is recorded."""
    record, got = known(file), word(explained(file)[0])
    if record.now is None:
        assert got in record.accept, f"gives {got}: {explained(file)[0].verdict.sentence}"
    else:
        assert got not in record.accept, f"now gives {got}: remove `now` and `because` from {file.stem}.yaml"
        assert got == record.now, f"gives {got}, which is wrong; {record.now} was the known gap"


@each
def test_reasons(file: Path) -> None:
    """What blames a step quotes lines of the paste; what blames none asks for a command."""
    report = explained(file)[0]
    said = report.paste
    assert said is not None
    if word(report) in ("unseen", "sound"):
        hold(file, "ask", word(report) == "sound" or bool(said.ask), "asks for no command")
        return
    cleaned = lines(file.read_bytes())  # without marks of quotation, and with plain dashes
    assert said.decisive
    for quote in said.decisive:
        assert quote.text.strip()
        there = [row.text for row in cleaned if row.number == quote.line]
        assert any(quote.text in text for text in there), f"line {quote.line} is not {quote.text!r}"


@each
def test_tries_are_bounded(file: Path) -> None:
    """The reasons of a verdict cost a bounded number of judgements, however the paste looks."""
    assert explained(file)[1] <= 1 + MOST_TRIES + MOST_ADDED


def test_accuracy() -> None:
    """No paste is blamed on a wrong step, and not fewer than before are judged rightly."""
    verdicts = {file: word(explained(file)[0]) for file in FILES}
    wrong = [
        f"{file.stem}: {got}"
        for file, got in verdicts.items()
        if got not in known(file).accept and got.partition(":")[0] in ("broken", "weak", "sound")
    ]
    assert wrong == []
    right = sum(got in known(file).accept for file, got in verdicts.items())
    assert right >= RIGHT, f"{right} of {len(FILES)} are judged rightly, fewer than before"


def among_prose(text: str) -> str:
    """The text with a hundred lines before it, and as many behind it."""
    lines = "".join(f"{PROSE[number % len(PROSE)]}\n" for number in range(100))
    return f"{lines}\n{text}\n{lines}"


CHANGES: dict[str, Callable[[str], str]] = {
    "crlf": lambda text: text.replace("\n", "\r\n"),
    "quoted": lambda text: re.sub(r"(?m)^", "> ", text.removesuffix("\n")) + "\n",
    "indented": lambda text: re.sub(r"(?m)^", "    ", text.removesuffix("\n")) + "\n",
    "html": lambda text: f"<div><p>Hello,</p>\n<pre>{html.escape(text)}</pre></div>\n",
    "prose": among_prose,
    "twice": lambda text: f"{text}\n{text}",
}


@each
@pytest.mark.parametrize("change", CHANGES)
def test_changed_on_the_way(file: Path, change: str) -> None:
    """What forums, mail and chat do to a paste changes no verdict."""
    before, after = word(explained(file)[0]), judged(CHANGES[change](file.read_text()))
    hold(file, change, after == before, f"{before} became {after}")


@pytest.mark.parametrize("file", [file for file in FILES if STAMP.search(file.read_text())], ids=lambda file: file.stem)
def test_without_time(file: Path) -> None:
    """Kernel lines without their time may tell less, and blame no other step."""
    before, after = word(explained(file)[0]), judged(STAMP.sub(r"\1", file.read_text()))
    blamed, step = before.partition(":")[2], after.partition(":")[2]
    # Of a paste that is not judged, a right verdict may be found; of any other, only the same step.
    fine = step in ("", blamed) if blamed else after == "unseen" or after in known(file).accept
    hold(file, "untimed", fine, f"{before} became {after}")


@each
def test_truncated(file: Path) -> None:
    """However much of a paste is there, it is judged."""
    lines = file.read_text().splitlines(keepends=True)
    for number in range(0, len(lines), 10):
        before, last = "".join(lines[:number]), lines[number]
        for part in (before + last, before + last[: len(last) // 2 + 1]):
            assert re.fullmatch(r"unseen|sound|(broken|weak):[a-z]+", judged(part))
