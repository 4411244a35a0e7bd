"""Nothing that a device says of itself can steer a terminal or hide."""

from __future__ import annotations

import sys
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from radiocheck.chain.verdict import Finding, Remedy, Step
from radiocheck.report.escape import LONG, command, escape, harmless, prose
from tests.report.scenarios import BROKEN, SOUND, report

ANY = st.text(st.characters(), max_size=60)  # every code point, lone surrogates included

# Unicode Standard Annex 9, table 4 and section 2: explicit directional formatting characters.
DIRECTIONAL = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"
# Unicode Standard, Default_Ignorable_Code_Point: zero-width and filler characters among them.
INVISIBLE = "\u200b\u200c\u200d\u2060\ufeff\u00ad\u034f\u115f\u1160\u17b4\u3164\uffa0\ufe0f\U000e0041"
CONTROLS = "".join(map(chr, [*range(0x20), *range(0x7F, 0xA0)])) + "\u2028\u2029"
OTHERS = "\ud800\udfff\ue000\U0010ffff\u0300\u00a0\u3000"


def harmful(text: str) -> list[str]:
    """The characters that may not reach a screen, by Unicode's general category."""
    return [char for char in text if unicodedata.category(char)[0] in "CZM" and char != " "]


@pytest.mark.parametrize("char", DIRECTIONAL + INVISIBLE + CONTROLS + OTHERS)
def test_shows_the_code_of_a_harmful_character(char: str) -> None:
    """Controls, directional overrides, invisible and lone characters are shown as the code Python writes."""
    shown = escape(f"a{char}b")
    assert shown.isascii()
    assert shown.isprintable()
    assert shown.encode("ascii").decode("unicode_escape") == f"a{char}b"


@given(ANY)
def test_no_harmful_character_survives(text: str) -> None:
    """Whatever goes in, only letters, digits, punctuation, symbols and spaces come out."""
    assert harmful(escape(text)) == []


@given(ANY)
def test_ascii_is_ascii(text: str) -> None:
    """With `ascii`, only printable ASCII comes out."""
    assert all(" " <= char <= "~" for char in escape(text, ascii=True))


def test_every_code_point() -> None:
    """All 1114112 code points, one by one in long strings, leave nothing harmful."""
    for start in range(0, sys.maxunicode + 1, 0x1000):
        block = "".join(map(chr, range(start, start + 0x1000)))
        assert harmful(escape(block, limit=0x1000)) == []


def test_keeps_what_is_fit_to_read() -> None:
    """Names in Latin, Greek, Cyrillic and Chinese letters stay; with `ascii` they are shown by code."""
    assert escape("Lindenhof Größe 1 µm, Ω, Липа, 菩提") == "Lindenhof Größe 1 µm, Ω, Липа, 菩提"
    assert escape("Größe", ascii=True) == "Gr\\xf6\\xdfe"


def test_usual_typography_has_ascii_twins() -> None:
    """Dashes, quotes and ellipses of our own sentences are readable in ASCII."""
    assert escape("it’s – “here” → there…", ascii=True) == 'it\'s - "here" -> there...'


def test_long_text_is_cut_and_says_so() -> None:
    """A text of a megabyte is cut; the reader is told by how much."""
    shown = escape("x" * 1_000_000)
    assert len(shown) < LONG + 40
    assert shown.endswith(f"({1_000_000 - LONG} more characters)")


def test_prose_joins_the_lines_of_a_rule() -> None:
    """Line breaks within a sentence are spaces, not codes."""
    assert prose("one\n  two \n\nthree\n") == "one two three"


def test_commands_keep_their_lines() -> None:
    """A command of two lines stays two lines; carriage returns, which would hide one, are shown."""
    assert command("virsh list\nvirsh\rx\n") == "virsh list\nvirsh\\x0dx"


def test_configuration_keeps_its_lines() -> None:
    """Configuration to paste keeps its lines and indentation, and what would steer a terminal is shown."""
    remedy = Remedy(do="x", risk="reads", configuration="<a>\n  <b c='\x1b'/>\n</a>", gives_up="much\nmore")
    finding = Finding(rule="x", result="found", gravity="break", remedies=[remedy])
    step = Step(step="bus", question="?", state="broken", findings=[finding])
    chain = structs.replace(BROKEN, steps=[step])
    found = harmless(report(chain)).chains[0].steps[0].findings[0].remedies[0]
    assert found.configuration == "<a>\n  <b c='\\x1b'/>\n</a>"
    assert found.gives_up == "much more"


def test_no_part_of_a_long_command_is_shown() -> None:
    """The beginning of a command can do other things than the whole: it is not shown cut."""
    shown = command("rm -r /tmp/one" + " x" * LONG)
    assert "/tmp/one" not in shown
    assert "--format json" in shown


def test_a_harmless_report_stays() -> None:
    """Escaping changes nothing in a report of plain text, so the states and codes stay valid."""
    assert harmless(report(BROKEN, SOUND), ascii=True) == report(BROKEN, SOUND)
