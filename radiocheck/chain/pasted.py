"""Whether evidence is a text that somebody pasted, and what is taken for granted of its machine."""

from __future__ import annotations

from radiocheck.evidence.record import Evidence


def is_paste(evidence: Evidence) -> bool:
    """Whether the evidence was read from text that somebody pasted."""
    return evidence.taken.origin == "paste"


def on_its_own(evidence: Evidence) -> bool:
    """Whether the machine of a paste is taken to use the adapter itself, or to be the VM that has it."""
    return not {"native", "guest"}.isdisjoint(evidence.taken.assumes)
