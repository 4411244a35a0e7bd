"""The air report as text."""

from __future__ import annotations

import re

import pytest
from msgspec import structs

from radiocheck.chain.air_build import Asked
from radiocheck.chain.air_change import Changes
from radiocheck.chain.air_report import QUESTIONS, AirReport
from radiocheck.report.air import text, weakest
from radiocheck.report.layout import columns
from tests.chain import air_house

HOUSE = air_house.report(air_house.asked(changes=Changes(channel=25, extension_m=1.5)))
EVIL = "\x1b[2J\u202e<b>" + "x" * 12


def lines_of(report: AirReport, width: int = 80, ascii: bool = False) -> list[str]:
    """The text's lines."""
    return text(report, width, ascii=ascii).rstrip("\n").split("\n")


def test_answers_come_first() -> None:
    """Plain language before any table: the three questions in order, then what if, figures, assumptions, cautions."""
    made = text(HOUSE)
    heads = [
        *QUESTIONS.values(),
        "What if: ",
        "SuperSpeed around it",
        "Wi-Fi networks",
        "Channels, best first",
        "Devices",
        "The weakest link: ",
        "What is assumed",
        "What it rests on besides",
        "Mind",
        "Seen on ",
    ]
    places = [made.index(head) for head in heads]
    assert places == sorted(places)


@pytest.mark.parametrize("width", [40, 60, 80, 110])
@pytest.mark.parametrize("ascii", [False, True])
def test_fits(width: int, ascii: bool) -> None:
    """No line is wider than asked for."""
    assert [line for line in lines_of(HOUSE, width, ascii) if columns(line) > width] == []


def test_ascii() -> None:
    """With `ascii` there is nothing else, and no code of a character of our own words."""
    made = text(HOUSE, ascii=True)
    assert made.isascii()
    assert "\\x" not in made
    assert "\\u" not in made


def test_no_false_decimals() -> None:
    """Chances and decibels are whole numbers; decimals are only in what the person gave."""
    made = text(HOUSE)
    shown = made[: made.index("What is assumed")]
    assert set(re.findall(r"\d+\.\d+", shown)) <= {"1.5", "0.5", "7.5", "12.5", "2.4"} | {HOUSE.tool}


def test_side_by_side() -> None:
    """What if: each figure before and after in one line, in dB and in frames that arrive."""
    made = lines_of(HOUSE)
    start = next(number for number, line in enumerate(made) if line.startswith("What if: "))
    block = made[start : made.index("", start)]
    assert re.search(r"before +after$", block[2])
    assert any(re.fullmatch(r"  margin over Wi-Fi on its channel +−\d+ dB +\d+ to \d+ dB", line) for line in block)
    assert any(re.fullmatch(r"  delivered on its channel +\d+ of 100 +>99 of 100", line) for line in block)


def test_own_channel_is_marked() -> None:
    """The adapter's own channel is marked in the list of all sixteen."""
    rows = [line for line in lines_of(HOUSE) if re.match(r"  \d\d (<| )", line)]
    assert len(rows) == 16
    assert [line[:6] for line in rows if "<" in line[:6]] == ["  17 <"]


def test_limits_are_marked() -> None:
    """A figure 10 MHz and more beside the loudest network is a mask's limit: it is marked, and the mark explained."""
    made = lines_of(HOUSE)
    rows = {one.channel: one for one in HOUSE.channels}
    marked = {int(line[2:4]) for line in made if re.match(r"  \d\d (<| )", line) and "≤ −" in line}
    assert marked == {one.channel for one in HOUSE.channels if one.bound}
    assert marked >= {14, 20, 25, 26}
    assert all(abs(rows[channel].offset_mhz or 0.0) >= 10.0 for channel in marked)
    assert "≤: so far beside the loudest network" in " ".join(" ".join(made).split())
    assert "10 MHz and more beside a loud network" in " ".join(HOUSE.models)


def test_who_is_louder_is_named() -> None:
    """A channel inside a faint network that a louder one beside it spills into names both."""
    assert any("inside `next door`; `gable-upstairs` is" in line for line in lines_of(HOUSE, 110))


def test_hostile_names() -> None:
    """Names of networks and devices cannot steer a terminal."""
    given = air_house.asked()
    networks = tuple(structs.replace(one, name=EVIL) for one in given.plan.networks or ())
    links = tuple(structs.replace(one, name=EVIL) for one in given.plan.links)
    evil = structs.replace(given, plan=structs.replace(given.plan, networks=networks, links=links))
    made = text(air_house.report(evil, air_house.evidence(air_house.disk(product=EVIL))))
    assert "\\x1b[2J\\u202e<b>" in made
    assert all(char.isprintable() or char == "\n" for char in made)


def test_a_thousand_networks() -> None:
    """Of many networks the loudest are listed and the rest is counted."""
    networks = "\n".join(
        f"  - {{channel: 1, name: n{number}, level: -{number % 80 + 20} dBm}}" for number in range(1000)
    )
    made = text(air_house.report(air_house.asked(f"survey:\n{networks}")))
    assert "and 980 weaker ones, which --format json lists" in made
    assert len(made.split("\n")) < 200


def test_nothing_known() -> None:
    """With nothing given and nothing seen the report says what to provide, and has no empty table."""
    made = text(air_house.report(Asked(plan=air_house.asked("{}").plan)))
    assert "Not known: no survey" in made
    assert "Channels, best first" not in made
    assert "Devices" not in made
    assert "\n\n\n" not in made


def test_colour_only_adds() -> None:
    """Colours are only around words that stand there anyway."""
    assert re.sub(r"\x1b\[[\d;]*m", "", text(HOUSE, colour=True)) == text(HOUSE)


def test_weakest() -> None:
    """The link that is broken down is that with the least margin, in its harder direction; its terms add up."""
    found = weakest(HOUSE.links)
    assert found is not None
    one, way, direction = found
    assert one.name == "attic sensor"
    assert direction == "to the adapter"
    assert sum(term.db for term in way.terms) == pytest.approx(way.level_dbm)
    assert weakest([]) is None
