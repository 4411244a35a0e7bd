"""What the bytes of one file are, and the judgement of them: a capture, a report made for pasting, or a raw paste."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from msgspec import Struct

from .status import Unusable

if TYPE_CHECKING:
    from radiocheck.chain.rule import RuleSet
    from radiocheck.chain.verdict import Report
    from radiocheck.evidence.posted import Posted
    from radiocheck.evidence.record import Evidence
    from radiocheck.pastes.merge import Reading

UNSHOWN = "(a line of the paste, which is not shown here)"
BINARY_START = 65_536  # bytes that are looked at
BINARY_SHARE = 20  # a text has less than one control character in so many
Judge = Callable[["Evidence"], "Report"]


class Case(Struct, frozen=True):
    """What a file holds.  `reading`: of a raw paste; then `posted.evidence` is what it carries."""

    posted: Posted
    name: str
    reading: Reading | None = None


class Answer(Struct, frozen=True):
    """The judgement of one file."""

    case: Case
    report: Report


def case(data: bytes, name: str) -> Case:
    """What some bytes hold.  Raises `Unusable` with one sentence."""
    from radiocheck.evidence.posted import Posted
    from radiocheck.evidence.store import Unreadable, load

    try:
        if is_capture(data):
            return Case(Posted(evidence=load(data, name)), name)
        from radiocheck.evidence import block
        from radiocheck.evidence.posted import read as unpacked

        text = block.text_of(data)
        if block.holds_block(text):
            return Case(unpacked(text, name), name)
        if is_json(data):  # meant as a capture; it says what it is instead
            return Case(Posted(evidence=load(data, name)), name)
    except Unreadable as error:
        raise Unusable(str(error)) from None
    if not data.strip():
        raise Unusable(f"{name}: is empty; name a capture, or a text that somebody pasted")
    if is_binary(data):
        raise Unusable(f"{name}: is no text; name a capture, or a text that somebody pasted")
    from radiocheck.pastes.merge import read

    try:
        reading = read(data)
    except ValueError as error:
        raise Unusable(f"{name}: {error}") from None
    return Case(Posted(evidence=reading.evidence), name, reading)


def is_capture(data: bytes) -> bool:
    """Whether these bytes were meant as what `radiocheck capture` writes."""
    start = data[:1000].lstrip(b"\xef\xbb\xbf \t\r\n")
    return start[:1] == b"{" and b'"radiocheck_evidence"' in start


def is_json(data: bytes) -> bool:
    """Whether it is JSON and nothing else, however deeply nested; no paste is."""
    import msgspec

    if data.lstrip()[:1] not in (b"{", b"["):
        return False
    try:
        msgspec.json.decode(data)
    except msgspec.DecodeError:
        return False
    except RecursionError:
        return True
    return True


def is_binary(data: bytes) -> bool:
    """Whether it is no text: many control characters, in an encoding that pastes have."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):  # UTF-16, as some editors save
        return False
    start = data[:BINARY_START]
    odd = sum(byte < 9 or 13 < byte < 27 or 27 < byte < 32 for byte in start)
    return odd * BINARY_SHARE > len(start)


def with_reasons(report: Report, found: Case, judge: Judge) -> Report:
    """The report of a raw paste with the lines that decided and what to ask for; any other as it is.

    `judge` judges a part of the evidence as the whole was judged.
    """
    if found.reading is None:
        return report
    from msgspec.structs import replace

    from radiocheck.pastes.because import explained

    return replace(report, paste=explained(found.reading, report, judge))


def without_quotes(report: Report) -> Report:
    """The report with the numbers of a paste's lines and not their text, in which nothing private was replaced."""
    from msgspec.structs import replace

    said = report.paste
    if said is None:
        return report
    decisive = [replace(one, text=UNSHOWN) for one in said.decisive]
    against = [replace(one, text=UNSHOWN) for one in said.against]
    return replace(report, paste=replace(said, decisive=decisive, against=against))


def answer(data: bytes, name: str, rules: RuleSet, reasons: bool = True) -> Answer:
    """The judgement of one file, as it stands.  Raises `Unusable` with one sentence.

    Without `reasons` the lines of a raw paste that blame a step are not looked for: that costs
    many judgements.
    """
    from radiocheck.chain.judge import NoSuchAdapter, Only
    from radiocheck.chain.judge import judge as judged
    from radiocheck.chain.pair import NotAGuest

    found = case(data, name)
    about = found.posted
    only = Only(adapter=about.adapter, vm=about.vm) if about.adapter or about.vm else None

    def judge(evidence: Evidence) -> Report:
        return judged(evidence, rules, only, about.guest)

    try:
        report = judge(about.evidence)
        if reasons or report.verdict.step is None:
            report = with_reasons(report, found, judge)
        return Answer(found, report)
    except (NotAGuest, NoSuchAdapter) as error:
        raise Unusable(f"{name}: {error}") from None
