"""Facts about the firmware behind a port, from the words that a paste has of it."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import FROM_PORT, AppMessage

from .context import Context
from .facts_app import is_about
from .pasted import is_paste
from .subjects import Subject
from .view_radio import RadioFacts

# Kinds of messages that came out of the port, and the state that each names.
STATES = {
    "boot-loader": "boot-loader",
    "boot-loader-again": "boot-loader",
    "application": "application",
    "no-application": "no-application",
    "deaf-boot-loader": "deaf-boot-loader",
}


def radio_facts(context: Context, subject: Subject) -> RadioFacts:
    """What its firmware said last; what it said before it answered counts no more."""
    evidence = context.evidence
    told = evidence.app_messages if is_paste(evidence) and known(evidence.app_messages) else []
    messages = [one for one in told if is_about(one, context, subject.device)]
    recent = messages[_answered(messages) :]
    named = [one for one in recent if one.kind in STATES]
    coded = [one for one in recent if one.kind in ("parity-even", "parity-odd")]
    return RadioFacts(
        heard=any(one.kind in FROM_PORT for one in messages),
        state=STATES[named[-1].kind] if named else None,
        words=named[-1].text if named else None,
        returned=any(one.kind == "boot-loader-again" for one in recent),
        silent=_silent(messages),
        parity=coded[-1].kind.removeprefix("parity-") if coded else None,
        text=coded[-1].text if coded else None,
    )


def _answered(messages: Sequence[AppMessage]) -> int:
    """Where in the messages what came after its last answer begins."""
    places = [number for number, one in enumerate(messages) if one.kind == "answered"]
    return places[-1] + 1 if places else 0


def _silent(messages: Sequence[AppMessage]) -> bool:
    """Whether a program had got no answer before somebody met the boot loader; later it may be an upload that fails."""
    kinds = [one.kind for one in messages]
    met = next((number for number, kind in enumerate(kinds) if STATES.get(kind) == "boot-loader"), len(kinds))
    return "no-answer" in kinds[:met]
