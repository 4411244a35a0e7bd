"""What the next restart does, in plain words: a line per VM and kind of restart, fewer when they say the same."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from radiocheck.chain.verdict import Chain, Forecast, Outcome

from . import words
from .layout import Look, columns, listed, wrap

HEADING = "At the next restart"
BESIDE = 26  # columns that may be given to whose restart it is, beside the answer
TABLE = 64  # columns of the terminal from which there is room for that
SAID: dict[Outcome, str] = {
    "comes-back": "comes back",
    "only-if-alone": "comes back only if nothing else matches",
    "by-chance": "comes back by chance only",
    "does-not-come-back": "does not come back",
    "refused": "the VM does not start",
    "not-started": "nobody starts the VM",
}
UNKNOWN = "not known"
INK: dict[Outcome | None, str] = {"comes-back": "sound", "only-if-alone": "weak", "by-chance": "weak", None: "unseen"}


def calm(chain: Chain) -> bool:
    """Whether nothing is lost at a restart, as far as can be told."""
    return all({one.at_vm_restart, one.at_host_restart} == {"comes-back"} for one in chain.forecast)


def lines(forecast: Sequence[Forecast], look: Look) -> list[str]:
    """The block; empty when no VM has a line for the adapter."""
    rows: list[tuple[str, Outcome | None, str]] = []
    for one in forecast:
        several = len({other.vm for other in forecast}) > 1
        line = f" (line `{one.text}`)" if sum(other.vm == one.vm for other in forecast) > 1 else ""
        for whose, outcome, why in _told(one, several):
            rows.append((f"of {whose}{line}", outcome, why or _settled_by(one, outcome)))
    widest = max((columns(whose) for whose, _, _ in rows), default=0)
    beside = widest <= BESIDE and look.width >= TABLE
    return [HEADING, *(line for row in rows for line in _row(*row, widest if beside else 0, look))] if rows else []


def _told(one: Forecast, several: bool) -> Iterator[tuple[str, Outcome | None, str]]:
    """Both restarts; one line for both when they end alike and one reason holds the other."""
    first, second = one.at_vm_restart_why, one.at_host_restart_why
    if one.at_vm_restart == one.at_host_restart and (first.startswith(second) or second.startswith(first)):
        yield f"{one.vm} or the host", one.at_vm_restart, max(first, second, key=len)
        return
    yield one.vm, one.at_vm_restart, first
    yield f"the host, {one.vm}" if several else "the host", one.at_host_restart, second


def _settled_by(one: Forecast, outcome: Outcome | None) -> str:
    """For an outcome that is not known: how to see it."""
    if outcome is not None:
        return ""
    ways = [missing.provide for missing in one.missing if missing.provide]
    if not ways:
        return (
            listed([words.thing(missing.what) for missing in one.missing]) + " could not be read" if one.missing else ""
        )
    return f"to see it, {listed(list(dict.fromkeys(words.simplest(way, ways) for way in ways)))}"


def _row(whose: str, outcome: Outcome | None, why: str, beside: int, look: Look) -> list[str]:
    """One restart: whose, what, why; with `beside` columns for whose, else set in."""
    word = SAID[outcome] if outcome is not None else UNKNOWN
    said = f"{word}; {why}" if why else word
    if beside:
        made = wrap(said, look.width, f"  {whose}:" + " " * (beside - columns(whose)) + "  ")
    else:
        made = wrap(f"{whose}: {said}", look.width, "  ", "    ")
    ink = look.paint(word, INK.get(outcome, "broken"))
    at = next((index for index, line in enumerate(made) if word in line), None)
    if at is not None:  # else it is cut in two by the end of a line
        made[at] = made[at].replace(word, ink, 1)
    return made
