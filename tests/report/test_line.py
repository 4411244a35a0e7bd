"""The chain as a line."""

from __future__ import annotations

import re
from typing import get_args

from hypothesis import given
from hypothesis import strategies as st

from radiocheck.chain.verdict import Step, StepName, StepState
from radiocheck.report.layout import Look
from radiocheck.report.line import chain_line
from tests.report.scenarios import BROKEN, WEAK, step

NAMES: tuple[StepName, ...] = get_args(StepName)
STATES: tuple[StepState, ...] = get_args(StepState)
CHAINS = st.lists(st.sampled_from(STATES), min_size=len(NAMES), max_size=len(NAMES)).map(
    lambda states: [step(name, state) for name, state in zip(NAMES, states, strict=True)]
)


def read_back(lines: list[str]) -> list[tuple[str, str]]:
    """What a reader takes from the lines: each step with the state word that stands last at or before it."""
    told = []
    for upper, lower in zip(lines[::2], lines[1::2], strict=True):
        words = [(match.start(), match.group()) for match in re.finditer(r"[a-z]+", lower)]
        for match in re.finditer(r"[a-z]+", upper):
            told.append((match.group(), [word for at, word in words if at <= match.start()][-1]))
    return told


def test_breaks_where_it_is_broken() -> None:
    """The line is whole up to the broken step, torn before it, and ends there: the rest hangs on nothing."""
    assert chain_line(BROKEN.steps, Look()) == [
        "  ──power──bus──driver──access~~assignment─/ /─handover  guest  radio  air",
        "    sound                       weak           broken    unreached",
    ]


def test_has_an_ascii_form() -> None:
    """The same line in ASCII."""
    assert chain_line(WEAK.steps, Look(ascii=True)) == [
        "  --power--bus--driver--access~~assignment--handover..guest..radio..air",
        "    sound                       weak        sound     unseen",
    ]


@given(CHAINS, st.integers(40, 110), st.booleans())
def test_words_tell_every_state(steps: list[Step], width: int, ascii: bool) -> None:
    """Without the glyphs and colours, the words alone give back each step's state; unused steps are left out."""
    lines = chain_line(steps, Look(width, ascii=ascii))
    assert read_back(lines) == [(one.step, one.state) for one in steps if one.state != "unused"]


@given(CHAINS, st.integers(40, 110))
def test_fits(steps: list[Step], width: int) -> None:
    """No line is wider than the terminal, and none ends in spaces."""
    for line in chain_line(steps, Look(width)):
        assert len(line) <= width
        assert line == line.rstrip()


@given(CHAINS, st.integers(40, 110), st.booleans())
def test_colour_adds_nothing(steps: list[Step], width: int, ascii: bool) -> None:
    """With the colour taken away, the coloured line is the plain one."""
    coloured = chain_line(steps, Look(width, colour=True, ascii=ascii))
    assert [re.sub("\x1b\\[[0-9;]*m", "", line).rstrip() for line in coloured] == chain_line(
        steps, Look(width, ascii=ascii)
    )


def test_one_line_in_eighty_columns() -> None:
    """All ten steps, one of them broken, fit on one line of 80 columns."""
    steps = [step(name, "sound") for name in NAMES[:6]] + [step("handover", "broken")]
    steps += [step(name, "unreached") for name in NAMES[7:]]
    assert len(chain_line(steps, Look(80))) == 2


def test_glyphs_are_in_console_fonts() -> None:
    """Every glyph is in code page 437, which the kernel's built-in console fonts cover (lib/fonts, from memory)."""
    steps = [step(name, STATES[at % 5]) for at, name in enumerate(NAMES)]
    assert "".join(chain_line(steps, Look())).encode("cp437")


def test_no_steps_no_line() -> None:
    """A chain without a step draws nothing."""
    assert chain_line([], Look()) == []
