"""The three answers follow from computed figures."""

from __future__ import annotations

import math
from typing import Any

import msgspec
import pytest
from msgspec import UNSET, structs

from radiocheck.chain.air_build import air
from radiocheck.chain.air_plan import Noise, noise, placed, shouting
from radiocheck.chain.air_report import AirReport, Span
from radiocheck.chain.air_words import (
    CHANNEL_26,
    COST_OF_CHANGING,
    PARTLY,
    PESSIMISTIC,
    cautions,
    decibels,
    metres,
    of_100,
    percents,
    span,
)
from radiocheck.radio.assume import chosen
from radiocheck.radio.plan import Plan
from radiocheck.radio.survey import recommended

from .air_house import answer, asked, disk, evidence, report

EMPTY = "survey: []\nchannel: 20"
LOUD = "survey: [{name: loft, channel: 6, level: -45 dBm, busy: 60 %}]\nchannel: 17"


def numbers(value: Any) -> list[float]:
    """All numbers of a report."""
    if isinstance(value, dict):
        return [number for one in value.values() for number in numbers(one)]
    if isinstance(value, list):
        return [number for one in value for number in numbers(one)]
    return [value] if isinstance(value, int | float) and not isinstance(value, bool) else []


def test_every_number_is_finite() -> None:
    """JSON has no infinity, so no figure is one, with and without Wi-Fi, links and evidence."""
    for given in (asked(), asked(EMPTY), asked("{}"), asked("channel: 11\nsurvey: []\nassume: {spread: 0 dB}")):
        for made in (report(given), air(given)):
            assert all(math.isfinite(number) for number in numbers(msgspec.to_builtins(made)))


@pytest.mark.parametrize(
    ("change", "extension", "state", "start"),
    [
        ({}, None, "bad", "Yes, probably: `Lindenhof Backup disk D1`, 5 Gb/s, is in the neighbouring socket. It is bu"),
        ({}, 0.5, "costly", "Perhaps: "),
        ({}, 2.0, "good", "Hardly: "),
        ({"runtime_status": "suspended"}, None, "costly", "Perhaps: "),
        ({"runtime_status": UNSET}, None, "costly", "Perhaps: "),
        ({"speed": 480.0}, None, "good", "No: no SuperSpeed device is on this machine's USB."),
    ],
)
def test_shouting(change: dict[str, Any], extension: float | None, state: str, start: str) -> None:
    """How loud a neighbour may be at the antenna decides: near and awake is bad, asleep may be, far is not."""
    said = answer(report(asked(EMPTY, extension_m=extension), evidence(disk(**change))), "shouting")
    assert said.state == state
    assert said.sentence.startswith(start)


def test_shouting_not_seen() -> None:
    """Without ports nothing is known, and the figures count with the whole range of noise."""
    made = report(asked(EMPTY), evidence(ports=UNSET))
    assert answer(made, "shouting").state == "unseen"
    assert made.neighbours is None
    assert (made.noise.best_db, made.noise.worst_db) == (0.0, chosen()["usb3_rise_worst"])


def test_a_part_of_the_bus_proves_no_silence() -> None:
    """When only a part of the devices was seen, nothing beside the adapter is no answer."""
    made = report(asked(EMPTY), evidence(partly=["usb"]))
    assert answer(made, "shouting").state == "unseen"


def test_measured_noise_counts_for_what_it_is() -> None:
    """A noise that the person measured takes the place of every assumption, the cable's included."""
    given = asked(EMPTY, noise=Noise(1.0, 2.0, "measured"), extension_m=1.0)
    made = report(given)
    assert (made.noise.best_db, made.noise.worst_db) == (1.0, 2.0)
    assert answer(made, "shouting").state == "good"


def test_channel() -> None:
    """A channel under a busy, loud network is bad, and a better one is named with the cost of changing."""
    said = answer(report(asked(LOUD)), "channel")
    assert said.state == "bad"
    assert said.sentence.startswith("No: on channel 17 ")
    assert COST_OF_CHANGING in said.more
    good = answer(report(asked(EMPTY)), "channel")
    assert (good.state, good.more) == ("good", ["No Wi-Fi network reaches channel 20."])


def test_what_this_machine_has_heard_is_a_part() -> None:
    """A channel that is good by what this machine heard is called that, and no more."""
    whole = asked("channel: 25\nsurvey: [{channel: 1, level: -70 dBm}]")
    said = answer(report(structs.replace(whole, survey_from="evidence")), "channel")
    assert said.sentence.startswith("Yes, by what this machine has heard: ")
    assert PARTLY in said.more
    assert PARTLY not in answer(report(whole), "channel").more


def test_a_mask_s_limit_is_called_pessimistic() -> None:
    """A channel that is bad by the limit of a mask only may be better, and that is said."""
    text = "channel: 20\nsurvey: [{channel: 6, level: -35 dBm, busy: 60 %}]"
    assert PESSIMISTIC in answer(report(asked(text)), "channel").more
    assert PESSIMISTIC not in answer(report(asked(text.replace("20", "18", 1))), "channel").more


def test_what_harms_is_named() -> None:
    """Wi-Fi, noise and distance are told apart, each with the devices that it harms."""
    text = """
    channel: 18
    survey: [{channel: 6, level: -40 dBm, busy: 60 %}]
    links:
      - {name: near, distance: 2 m}
      - {name: edge, distance: 20 m, through: [{material: concrete, thickness: 100 mm}]}
      - {name: far, distance: 80 m, through: [{material: concrete, thickness: 600 mm}], floors: 2}
    """
    more = answer(report(asked(text)), "reach").more
    assert more[0] == "Distance is not what harms `near`, but Wi-Fi: without it, heard well."
    assert "Whether `edge` is heard hangs on the noise beside the adapter: move it away from there first." in more
    assert any(line.startswith("For `far` something between helps most: ") for line in more)


def test_channel_not_known() -> None:
    """With a survey and no channel the best one is named; with neither, both are asked for."""
    said = answer(report(asked("survey: [{channel: 1, level: -50 dBm}]")), "channel")
    assert said.state == "unseen"
    assert "--channel" in said.sentence
    neither = answer(report(asked("{}")), "channel")
    assert neither.state == "unseen"
    assert any("--channel" in line for line in neither.more)


def test_channel_26_comes_with_its_caution() -> None:
    """26 is not proposed where another one delivers as much, since some devices do not hear it."""
    made = report(asked("survey: [{channel: 1, level: -40 dBm, busy: 90 %}]\nchannel: 26"))
    assert CHANNEL_26 in answer(made, "channel").more
    assert recommended(made.channels).channel != 26
    assert made.channels[0].delivered - recommended(made.channels).delivered < 0.01


def test_order_is_by_delivery() -> None:
    """Channels are listed best first."""
    delivered = [round(one.delivered, 4) for one in report(asked()).channels]
    assert len(delivered) == 16
    assert delivered == sorted(delivered, reverse=True)


def test_reach() -> None:
    """Each device has its place, and on the better channel more of them are heard."""
    made = report(asked())
    said = answer(made, "reach")
    assert said.state in ("costly", "bad")
    assert said.sentence.startswith("Of 6 devices: ")
    assert any(line.startswith("On channel 25, with less Wi-Fi in it, ") for line in said.more)
    assert made.reach is not None
    assert made.reach.best_m > made.reach.worst_m > 1.0


def test_reach_verdicts() -> None:
    """A lamp in the room is heard, a shed behind concrete is not."""
    text = """
    channel: 25
    survey: []
    links:
      - {name: near, distance: 2 m}
      - {name: shed, distance: 80 m, through: [{material: concrete, thickness: 600 mm}], floors: 2}
    """
    made = report(asked(text), evidence())
    assert [link.verdict for link in made.links] == ["heard", "not-heard"]
    assert answer(made, "reach").state == "bad"
    assert answer(made, "reach").sentence == "Of 2 devices: 1 heard well (`near`), 1 hardly heard (`shed`)."


def test_without_links_the_question_is_open() -> None:
    """A dwelling's distance is told, but no device is judged."""
    said = answer(report(asked(EMPTY)), "reach")
    assert said.state == "unseen"
    assert said.sentence.startswith("In a dwelling in general a device is heard up to about ")


def test_no_adapter() -> None:
    """A site alone is computed too."""
    made = air(asked())
    assert (made.adapter, made.host, made.taken) == (None, None, None)
    assert answer(made, "channel").state == "bad"


def test_every_assumption_is_told() -> None:
    """Every assumption is in the report with its value, range, unit and source, and whether it was given."""
    made = report(asked())
    assert {one.name: one.value for one in made.assumed} == {
        **chosen(),
        "coordinator_power": 8.0,
        "spread": 7.0,
    }
    assert {one.name for one in made.assumed if one.given} == {"coordinator_power", "spread"}
    assert all(one.low <= one.value <= one.high and one.source and one.unit for one in made.assumed)


def test_cautions() -> None:
    """The law comes first; a lock and a smoke sensor are named; changing is warned of only where it is proposed."""
    said = cautions([("door", "lock"), ("lamp", "lamp"), ("attic", "smoke sensor")], changes_channel=True)
    assert "not" in said[0]
    assert "Local rules on transmit power" in said[0]
    assert "`door` and `attic`" in said[1]
    assert COST_OF_CHANGING in said
    plain = cautions([], changes_channel=False)
    assert COST_OF_CHANGING not in plain
    for word in ("ladder", "metal box", "qualified"):
        assert any(word in line for line in plain)


def test_survives_json() -> None:
    """The report is the same after it was written and read."""
    made = report(asked())
    assert msgspec.json.decode(msgspec.json.encode(made), type=AirReport) == made


@pytest.mark.parametrize(("best", "worst", "state"), [(0, 3, "good"), (0, 20, "costly"), (1, 20, "bad")])
def test_shouting_words(best: float, worst: float, state: str) -> None:
    """Quiet up to 3 dB at worst; bad when even the best case costs something."""
    assert shouting(best, worst) == state


def test_noise_of_none() -> None:
    """No neighbour on a bus that was seen whole makes no noise; on one that was not, it may."""
    values = chosen()
    assert noise([], True, values) == Noise(0.0, 0.0, "neighbours")
    assert noise([], False, values) == Noise(0.0, values["usb3_rise_worst"], "not-seen")


def test_cable_helps_only_from_a_wavelength_on() -> None:
    """A cable of 10 cm is shorter than a wavelength (12 cm at 2.44 GHz): nothing is taken off."""
    bare = Plan(20, ())
    loud = Noise(3.0, 20.0, "neighbours")
    assert placed(bare, loud, 0.1).rise_worst_db == pytest.approx(20.0)
    assert placed(bare, loud, 1.0).rise_worst_db < 7.0


@pytest.mark.parametrize(
    ("share", "words"),
    [(1.0, "more than 99 of 100"), (0.9949, "about 99 of 100"), (0.5, "about 50 of 100"), (0.0, "fewer than 1 of 100")],
)
def test_shares_in_words(share: float, words: str) -> None:
    """A probability has no decimals, and is never nothing or all."""
    assert of_100(share) == words


def test_numbers_in_words() -> None:
    """Whole decibels with a true minus sign, no minus zero; distances with the digits they deserve."""
    assert (decibels(-0.4), decibels(-12.6)) == ("0", "−13")
    assert (span(3.2, 19.7), span(2.9, 3.1)) == ("3 to 20 dB", "3 dB")
    assert percents(Span(0.999, 0.5)) == "50 to >99"
    assert [metres(one) for one in (0.4, 7.4, 33.0, 128.0)] == ["1 m", "7 m", "35 m", "130 m"]
