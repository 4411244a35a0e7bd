"""A link's budget, term by term."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from radiocheck.radio.ber import frame_error_rate, one_percent_db
from radiocheck.radio.link import Link, Radio, Slab, air, link, losses
from radiocheck.radio.noise import thermal_dbm
from radiocheck.radio.path import annex_db, free_space_db, indoor_db
from radiocheck.radio.reception import Burst
from radiocheck.radio.walls import slab_db

BRICK = Slab("brick", 0.115)


def radio(**changes: Any) -> Radio:
    """The assumptions of `assume.py`, some changed."""
    values: dict[str, Any] = {
        "coordinator_power": 8.0,
        "device_power": 3.0,
        "antenna": 0.0,
        "noise_figure": 8.0,
        "implementation_loss": 5.0,
        "receiver_width": 2.0,
        "frame": 60.0,
        "spread": 8.0,
        "floor": 10.0,
        "burst": 1500.0,
        "cca_threshold": -75.0,
        "freq_mhz": 2440.0,
    }
    return Radio(**(values | changes))


def made(distance: float = 10.0, *walls: Slab, floors: int = 0, **changes: Any) -> Link:
    """A link of so many metres."""
    return link("lamp", distance, walls, floors, air(radio(**changes)))


def test_a_budget_by_hand() -> None:
    """10 m, a brick wall, a floor: 8 − 60.20 − 3.73 − 10 dBm at the device, 5 dB less at the coordinator."""
    one = made(10.0, BRICK, floors=1)
    level = 8.0 - 60.1955797487 - 3.731051352 - 10.0
    assert one.to_device.level_dbm == pytest.approx(level, abs=1e-6)
    assert one.to_coordinator.level_dbm == pytest.approx(level - 5.0, abs=1e-6)
    floor = thermal_dbm(2.0) + 8.0
    assert one.to_device.floor_dbm == pytest.approx(floor)
    assert one.to_device.sinr_db == pytest.approx(level - floor)
    assert one.to_device.margin_db == pytest.approx(level - floor - 5.0 - one_percent_db(60))
    assert one.to_device.frame_errors == pytest.approx(frame_error_rate(level - floor, 60, 5.0), abs=1e-12)
    assert one.to_device.chance == pytest.approx(stats.norm.cdf(one.to_device.margin_db / 8.0))


@given(
    st.floats(0.5, 500), st.lists(st.sampled_from([BRICK, Slab("glass", 0.006, 30.0)]), max_size=3), st.integers(0, 3)
)
def test_terms_add_up(distance: float, walls: list[Slab], floors: int) -> None:
    """From the transmitter's power to the received level; of the two directions only the first term differs."""
    one = made(distance, *walls, floors=floors)
    for way in (one.to_device, one.to_coordinator):
        assert math.fsum(term.db for term in way.terms) == pytest.approx(way.level_dbm, abs=1e-9)
        assert [term.kind for term in way.terms][:3] == ["transmit", "antennas", "path"]
    assert one.to_device.terms[1:] == one.to_coordinator.terms[1:]


def test_antennas_count_at_both_ends() -> None:
    """2 dBi at each end are 4 dB more, in the budget and in what is delivered."""
    plain, gained, stronger = (
        made(200.0),
        made(200.0, antenna=2.0),
        made(200.0, coordinator_power=12.0, device_power=7.0),
    )
    assert gained.to_device.level_dbm == pytest.approx(plain.to_device.level_dbm + 4.0)
    assert gained.to_coordinator.margin_db == pytest.approx(plain.to_coordinator.margin_db + 4.0)
    assert gained.delivered_to_coordinator == pytest.approx(stronger.delivered_to_coordinator)
    assert gained.delivered_to_coordinator > plain.delivered_to_coordinator


@given(st.floats(1, 300), st.floats(0, 40))
def test_shares(distance: float, rise: float) -> None:
    """Probabilities are some, and noise beside the coordinator harms only what it hears."""
    quiet, loud = made(distance), made(distance, rise_db=rise)
    for one in (quiet, loud):
        for way in (one.to_device, one.to_coordinator):
            assert all(0.0 <= share <= 1.0 for share in (way.frame_errors, way.mean_errors, way.chance, way.busy))
        assert 0.0 <= one.delivered_to_device <= 1.0
        assert 0.0 <= one.delivered_to_coordinator <= 1.0
    assert loud.to_device.mean_errors == pytest.approx(quiet.to_device.mean_errors, abs=1e-12)
    assert loud.to_coordinator.mean_errors >= quiet.to_coordinator.mean_errors - 1e-9
    assert loud.to_coordinator.margin_db == pytest.approx(quiet.to_coordinator.margin_db - rise, abs=1e-9)
    assert loud.delivered_to_device <= quiet.delivered_to_device + 1e-9  # its acknowledgements come that way


@given(st.floats(1, 300), st.floats(1, 2))
def test_farther_is_never_better(distance: float, factor: float) -> None:
    """Less is delivered the farther away the device is, both ways."""
    near, far = made(distance), made(distance * factor)
    assert far.delivered_to_device <= near.delivered_to_device + 1e-6
    assert far.delivered_to_coordinator <= near.delivered_to_coordinator + 1e-6


def test_wifi_comes_and_goes() -> None:
    """The margin is that of quiet air; beside it stands what is left while the loudest network is on."""
    met = (Burst(-55.0, 0.3), Burst(-80.0, 0.3))
    one = made(10.0, at_coordinator=met, at_device=met)
    assert one.to_coordinator.margin_db == made(10.0).to_coordinator.margin_db
    assert one.to_coordinator.while_on_db == pytest.approx(
        one.to_coordinator.margin_db + one.to_device.floor_dbm + 55.0, abs=0.01
    )
    assert one.to_coordinator.busy == pytest.approx(0.3)
    assert 0.3 < one.to_coordinator.frame_errors < 0.9
    assert one.delivered_to_coordinator < made(10.0).delivered_to_coordinator
    assert made(10.0).to_coordinator.while_on_db is None


def test_measured_walls() -> None:
    """A measured loss stands in place of the computed one, whatever the material is called."""
    ways = losses(5.0, [Slab("cinder block", 0.2, loss_db=6.71), BRICK], 0, radio())
    assert [term.db for term in ways[1:]] == [-6.71, -slab_db("brick", 0.115, 2440.0)]


@pytest.mark.parametrize("model", ["annex", "residential", "office", "commercial"])
def test_models_with_walls_in_them(model: str) -> None:
    """IEEE Std 802.15.4-2006 §E.4.1.1 or ITU-R P.1238 in place of free space and walls; floors as each has them."""
    whole = -sum(term.db for term in losses(12.0, (), 2, radio(), model))
    assert whole == pytest.approx(annex_db(12.0) + 20.0 if model == "annex" else indoor_db(12.0, 2440.0, model, 2))
    with pytest.raises(ValueError, match="has walls in it already"):
        losses(12.0, [BRICK], 0, radio(), model)


def test_other_models_stand_beside() -> None:
    """What the other models say of the same distance, to show how far they are apart."""
    others = {term.name: term.db for term in made(12.0, BRICK).other_models}
    assert others["annex"] == -annex_db(12.0)
    assert others["residential"] == -indoor_db(12.0, 2440.0, "residential")
    assert all(db < -free_space_db(12.0, 2440.0) for db in others.values())


@pytest.mark.parametrize(
    ("distance", "walls", "floors", "model", "range_"),
    [
        (0.05, (), 0, "walls", r"outside 0\.1 m to 1000 m"),
        (-3.0, (), 0, "walls", r"outside 0\.1 m to 1000 m"),
        (math.nan, (), 0, "walls", r"outside 0\.1 m to 1000 m"),
        (10.0, (Slab("brick", 2.5),), 0, "walls", "outside 0 m to 2 m"),
        (10.0, (Slab("brick", -0.1, loss_db=3.0),), 0, "walls", "outside 0 m to 2 m"),
        (10.0, (Slab("brick", 0.1, loss_db=-3.0),), 0, "walls", "outside 0 to 200 dB"),
        (10.0, (Slab("straw", 0.1),), 0, "walls", "write one of concrete"),
        (0.3, (Slab("brick", 0.3),), 0, "walls", r"do not fit into 0\.3 m"),
        (10.0, (BRICK,) * 51, 0, "walls", "more than 50"),
        (10.0, (), 11, "walls", "outside 0 to 10"),
        (10.0, (), 0, "okumura", "write one of walls, annex"),
    ],
)
def test_links_that_cannot_be(distance: float, walls: tuple[Slab, ...], floors: int, model: str, range_: str) -> None:
    """They are refused with the allowed range."""
    with pytest.raises(ValueError, match=range_):
        link("lamp", distance, walls, floors, air(radio()), model)
