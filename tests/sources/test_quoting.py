"""What complaints repeat of a text."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from radiocheck.sources.quoting import LONGEST, one_line, shown


@given(st.text())
def test_repeated_words_are_one_short_line(text: str) -> None:
    """Whatever a text holds: one printable line of bounded length, which tells when it was cut."""
    assert one_line(text).isprintable()
    assert len(one_line(text)) == len(text)
    words = shown(text)
    assert words.isprintable()
    assert len(words) <= LONGEST + 3
    assert words.endswith("…`") or len(text) <= LONGEST or text[LONGEST - 1] == "…"


def test_plain_words_stay() -> None:
    """What can be shown is shown as it is."""
    assert shown("usb-host,hostbus=1") == "`usb-host,hostbus=1`"
    assert shown("a\nb\x1b") == "`a\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}`"
