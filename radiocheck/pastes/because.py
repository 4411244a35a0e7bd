"""Why a paste is judged as it is: the lines that decide, what speaks against it, and what to ask for.

The lines are found by leaving out: what can go without a change of the verdict does not
decide it (A. Zeller and R. Hildebrandt, "Simplifying and Isolating Failure-Inducing Input",
IEEE Transactions on Software Engineering 28(2), 2002; the algorithm from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from radiocheck.chain.verdict import Chain, Finding, PasteSaid, Quote, Report, headline
from radiocheck.evidence.record import Evidence

from .ask import FIRST, shortest
from .merge import Reading, evidence, nothing
from .piece import Piece

Judge = Callable[[Evidence], Report]
Word = tuple[str, str | None, str | None]

BEYOND = ("guest", "radio", "air")  # which no command on this machine settles
MOST_TRIES = 240  # judgements that finding the lines may cost; one takes some milliseconds
MOST_ADDED = 40  # further pieces that are tried for what they say against it
MOST_QUOTED = 8  # lines that decide and are shown
MOST_AGAINST = 3


def explained(reading: Reading, report: Report, judge: Judge) -> PasteSaid:
    """What a report on a paste says beside the verdict.  `judge` is what made the report."""
    chain = report.chains[0] if report.chains else None
    deciding: list[Piece] = []
    against: list[Quote] = []
    if report.verdict.state in ("broken", "weak"):
        same = _asks(reading, report, judge)
        deciding = minimal(reading.pieces, same)
        against = _against(reading, deciding, same)
    return PasteSaid(
        lines=reading.total,
        read=len(reading.used),
        recognised=not nothing(reading),
        decisive=_quotes(reading, deciding)[:MOST_QUOTED],
        against=against,
        but=_but(report, chain),
        assumed=_assumed(reading, chain),
        ask=_ask(reading, report, chain),
    )


def _assumed(reading: Reading, chain: Chain | None) -> list[str]:
    """What was taken for granted, and decides about the chain's route."""
    where = reading.frame.where
    routes = {"native": "native", "guest": "received"}
    return [where] if where is not None and chain is not None and chain.route == routes[where] else []


def word(report: Report) -> Word:
    """What must stay the same: state, step and the rule that is named first."""
    verdict = report.verdict
    return verdict.state, verdict.step, headline(report.chains[0]) if report.chains else None


def _found(chain: Chain) -> list[Finding]:
    blamed = next((step for step in chain.steps if step.step == chain.step), None)
    return [one for one in blamed.findings if one.result == "found"] if blamed is not None else []


def _asks(reading: Reading, report: Report, judge: Judge) -> Callable[[Sequence[Piece]], bool]:
    """Whether some pieces alone are judged in the same way."""
    wanted = word(report)

    def same(pieces: Sequence[Piece]) -> bool:
        return word(judge(evidence(pieces, reading.frame))) == wanted

    return same


def minimal(pieces: Sequence[Piece], same: Callable[[Sequence[Piece]], bool], tries: int = MOST_TRIES) -> list[Piece]:
    """Few pieces that are judged as all are, in their order.

    None of them can be left out, unless `tries` judgements were not enough to find out.
    """
    kept = list(pieces)
    parts = 2
    while len(kept) > 1 and tries > 0:
        size = -(-len(kept) // parts)
        for start in range(0, len(kept), size):
            rest = kept[:start] + kept[start + size :]
            tries -= 1
            if rest and same(rest):
                kept, parts = rest, max(parts - 1, 2)
                break
            if tries <= 0:
                return kept
        else:
            if size == 1:
                return kept
            parts = min(parts * 2, len(kept))
    return kept


def _against(reading: Reading, deciding: Sequence[Piece], same: Callable[[Sequence[Piece]], bool]) -> list[Quote]:
    """What came after the lines that decide, and would change the verdict if nothing else were there."""
    last = max((piece.lines[-1] for piece in deciding), default=0)
    rest = [piece for piece in reading.pieces if piece.kind in ("event", "app") and piece.lines[0] > last]
    found: list[Piece] = []
    for piece in rest[:MOST_ADDED]:
        both = sorted([*deciding, piece], key=lambda one: one.lines[0])
        if not same(both):
            found.append(piece)
        if len(found) == MOST_AGAINST:
            break
    return _quotes(reading, found)[:MOST_AGAINST]


def _quotes(reading: Reading, pieces: Sequence[Piece]) -> list[Quote]:
    texts: dict[int, str] = {}
    for row in reading.rows:
        texts[row.number] = f"{texts[row.number]} {row.text}" if row.number in texts else row.text
    numbers = sorted({number for piece in pieces for number in piece.lines})
    return [Quote(line=number, text=texts.get(number, "").strip()) for number in numbers]


def _but(report: Report, chain: Chain | None) -> list[str]:
    """What else could be the matter, in words."""
    if chain is None or chain.step is None:
        return []
    named = headline(chain)
    said = [one.looks_like for one in _found(chain) if one.rule == named and one.looks_like]
    others = [
        f"{one.title} (at {step.step}, rule {one.rule})"
        for each in report.chains
        for step in each.steps
        for one in step.findings
        if one.result == "found" and one.explained_by is None and one.rule != named
    ]
    return said + list(dict.fromkeys(others))[:MOST_AGAINST]


def _ask(reading: Reading, report: Report, chain: Chain | None) -> list[str]:
    """The commands that would settle it; none when what is named stands and nothing before it is hidden."""
    if nothing(reading) or chain is None:
        return list(FIRST)
    wanted: dict[str, float] = {}
    # Behind the step that is named nothing is needed any more.
    named = [step.step for step in chain.steps].index(chain.step) if chain.step is not None else len(chain.steps)
    beyond = set(BEYOND) - ({"guest"} if chain.route == "received" else set())  # made in the VM, it shows its own side
    steps = [step for step in chain.steps[:named] if step.state == "unseen" and step.step not in beyond]
    for place, step in enumerate(steps):
        for missing in step.missing:
            wanted[missing.what] = wanted.get(missing.what, 0.0) + 1.0 / (1 + place)
    ran = {" ".join(row.prompt.split()[:2]) for row in reading.rows if row.prompt}
    return [one for one in shortest(wanted) if " ".join(one.removeprefix("sudo ").split()[:2]) not in ran]
