"""Phrases of failures; samples of them all are in readers/app_words.tsv."""

from __future__ import annotations

import pytest

from radiocheck.pastes.failures import PHRASES, failure


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("[Errno 13] could not open", "denied"),
        ("errno=16", "busy"),
        ("errno: 2", "missing"),
        ("errno 19", "missing"),
        ("errno=5", "io-error"),
        ("errno=130", None),
        ("Os { code: 13 }", "denied"),
        ("[Errno 1] x", "not-permitted"),
        ("EACCES: permission denied, open '/dev/ttyUSB0'", "denied"),
        ("Error: EBUSY", "busy"),
        ("a busy port of call", None),
        ("gpsd:ERROR: SER: /dev/ttyUSB0 already opened by another process", "busy"),
        ("Timed out waiting for device dev-gauge.device - /dev/gauge.", "missing"),
        ("Timed out waiting for the device", "no-answer"),
        ("Could not redirect Reader [1209:7a01] at 1-6: Error setting USB device node ACL: 'Not authorized'", "denied"),
    ],
)
def test_numbers_and_names_of_errors(text: str, kind: str | None) -> None:
    """Linux's (asm-generic/errno-base.h)."""
    assert failure(text) == kind


def test_needles_are_of_their_phrases() -> None:
    """They are in small letters, as the text is when they are looked for."""
    assert all(phrase.needle and phrase.needle == phrase.needle.lower() for phrase in PHRASES)


def test_what_is_tried_counts_last() -> None:
    """A reason that is told comes before what failed."""
    assert failure("could not claim interface 0: Permission denied") == "denied"
    assert failure("could not claim interface 0") == "busy"
