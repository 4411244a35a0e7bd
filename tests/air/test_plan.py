"""From the records of `air.yaml` to the plan that is computed."""

from __future__ import annotations

import pytest

from radiocheck.air.plan import UNNAMED, heard, plan
from radiocheck.air.read import read
from radiocheck.air.site import Network, Site
from radiocheck.radio.channels import wifi_mhz
from radiocheck.radio.link import Slab
from radiocheck.radio.plan import compute
from radiocheck.report.schema import site_schema


@pytest.mark.parametrize(
    ("standard", "width", "mask"),
    [
        ("b", 20.0, "dsss"),
        ("b", 22.0, "dsss"),
        ("g", 20.0, "ofdm"),
        ("n", 20.0, "ht20"),
        ("n", 40.0, "ht40"),
        ("ax", 20.0, "he20"),
        ("ax", 40.0, "he40"),
    ],
)
def test_mask(standard: str, width: float, mask: str) -> None:
    """A standard and width choose the transmit mask."""
    network = Network(centre_mhz=2437.0, level_dbm=-50.0, width_mhz=width, standard=standard)  # type: ignore[arg-type]  # a name of the choices
    assert heard(network).mask == mask


def test_network() -> None:
    """A channel number becomes its centre; a network without a name is called hidden; air time stays unknown."""
    made = heard(Network(channel=11, level_dbm=-63.0))
    assert (made.name, made.centre_mhz, made.level_dbm, made.busy) == (UNNAMED, wifi_mhz(11), -63.0, None)


def test_busy_is_of_the_whole_channel() -> None:
    """Each `busy` tells how much of its Wi-Fi channel is taken, so the highest one counts, never the sum of both."""
    text = "channel: 18\nsurvey:\n"
    rows = [f"- {{channel: 6, level: {level} dBm, busy: {busy} %}}\n" for level, busy in ((-50, 10), (-60, 30))]
    both, loud = ("".join([text, *some]) for some in (rows, [rows[0].replace("10 %", "30 %")]))
    own = [compute(plan(read(one.encode(), "a"))).channels[7] for one in (both, loud)]
    assert own[0] == own[1]
    assert (own[0].channel, own[0].busy) == (18, pytest.approx(0.3))
    described = site_schema()["$defs"]["Network"]["properties"]["busy"]
    assert "its channel is taken, whoever sends" in str(described)


def test_no_survey_is_not_an_empty_one() -> None:
    """Without `survey` nothing is known of Wi-Fi; an empty survey says that there is none."""
    assert plan(Site()).networks is None
    assert plan(Site(survey=[])).networks == ()


def test_walls_in_layers() -> None:
    """A named wall of several layers, and one that is written in place, are slabs in order."""
    text = """
    walls: {stud: [{material: plasterboard, thickness: 12.5 mm}, {material: plasterboard, thickness: 12.5 mm}]}
    links: [{name: a, distance: 5 m, through: [stud, {material: wood, thickness: 40 mm, angle: 20 degrees}]}]
    """
    (link,) = plan(read(text.encode(), "a")).links
    board = Slab("plasterboard", 0.0125)
    assert link.walls == (board, board, Slab("wood", 0.04, 20.0))


def test_own_power() -> None:
    """A device's own transmit power takes the place of the assumed one, for its direction only."""
    text = "links: [{name: a, distance: 5 m, power: 10 dBm}, {name: b, distance: 5 m}]\nassume: {device_power: 3 dBm}"
    own, other = compute(plan(read(text.encode(), "a"))).links_best
    assert own.to_coordinator.level_dbm - other.to_coordinator.level_dbm == pytest.approx(7.0)
    assert own.to_device.level_dbm == other.to_device.level_dbm
