"""A whole plan, and the same with something changed."""

from __future__ import annotations

import json
import math
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from radiocheck.radio import plan as plans
from radiocheck.radio.assume import chosen
from radiocheck.radio.plan import (
    LinkPlan,
    Network,
    Plan,
    Slab,
    compute,
    on_channel,
    with_extension,
    with_noise,
    with_wifi_on,
)

HOUSE = Plan(
    channel=17,
    networks=(Network("hall", 2437.0, -45.0), Network("attic", 2412.0, -72.0, "ofdm", 0.3)),
    links=(
        LinkPlan("lamp", 4.0, (Slab("brick", 0.115),)),
        LinkPlan("shed", 14.0, (Slab("brick", 0.115), Slab("brick", 0.24)), 1),
        LinkPlan("moon", 900.0, (Slab("metal", 0.01),)),
    ),
    rise_best_db=3.0,
    rise_worst_db=20.0,
)


def numbers(value: Any) -> list[float]:
    """All numbers in what a record is made of."""
    if isinstance(value, dict):
        return [one for part in value.values() for one in numbers(part)]
    if isinstance(value, list | tuple):
        return [one for part in value for one in numbers(part)]
    return [value] if isinstance(value, float) else []


def test_a_house() -> None:
    """Sixteen channels and each link, at best and at worst; the worst is nowhere better."""
    result = compute(HOUSE)
    assert [one.channel for one in result.channels] == list(range(11, 27))
    assert (
        [one.name for one in result.links_best] == [one.name for one in result.links_worst] == ["lamp", "shed", "moon"]
    )
    assert result.floor_worst_dbm - result.floor_best_dbm == pytest.approx(17.0)
    for best, worst in zip(result.channels, result.channels_worst, strict=True):
        assert worst.delivered <= best.delivered + 1e-9
    for near, far in zip(result.links_best, result.links_worst, strict=True):
        assert far.delivered_to_coordinator <= near.delivered_to_coordinator + 1e-9
    assert result.links_best[0].to_coordinator.while_on_db is not None
    assert dict(result.assumptions) == chosen()


def test_channels_are_judged_for_the_weakest_link_within_reach() -> None:
    """The shed is the weakest that the receiver's own noise lets through; noise beside it does not change that."""
    result = compute(HOUSE)
    shed = result.links_best[1].to_coordinator
    assert (result.wanted_from, result.wanted_dbm) == ("shed", shed.level_dbm)
    assert compute(replace(HOUSE, rise_best_db=20.0)).wanted_from == "shed"


@pytest.mark.parametrize("links", [(), HOUSE.links[2:]])
def test_without_a_link_within_reach(links: tuple[LinkPlan, ...]) -> None:
    """IEEE Std 802.15.4-2006 §E.4.3: the wanted signal is 10 dB above the required −85 dBm."""
    result = compute(replace(HOUSE, links=links))
    assert (result.wanted_from, result.wanted_dbm) == (None, -75.0)


def test_channels_agree_with_the_link_they_are_judged_for() -> None:
    """At the median, a link on a channel loses what the survey says of that channel."""
    result = compute(HOUSE)
    assert result.links_best[1].to_coordinator.frame_errors == pytest.approx(result.channels[6].frame_errors, abs=1e-9)
    assert result.links_best[1].to_coordinator.busy == pytest.approx(result.channels[6].busy)


@pytest.mark.parametrize(
    "plan",
    [
        Plan(None, None),
        Plan(None, ()),
        Plan(11, ()),
        replace(HOUSE, channel=None),
        replace(HOUSE, networks=None),
        replace(HOUSE, networks=(Network("edge", 2480.0, -110.0, busy=0.0),), channel=26),
        replace(HOUSE, networks=(Network("edge", 2400.0, 0.0, busy=1.0),), channel=11),
        replace(HOUSE, rise_best_db=60.0, rise_worst_db=60.0, given={"spread": 0.0, "frame": 127.0}),
        replace(HOUSE, given={"spread": 15.0, "frame": 5.0, "device_hears": -60.0, "cca_threshold": -100.0}),
        replace(HOUSE, networks=tuple(Network(f"n{n}", 2412.0 + n % 60, -30.0 - n % 80) for n in range(1000))),
    ],
    ids=["nothing", "empty", "clear", "no channel", "no survey", "weakest", "loudest", "extreme", "other", "thousand"],
)
def test_every_number_is_finite(plan: Plan) -> None:
    """What comes out can be written as JSON: no infinity, nothing that is not a number."""
    result = compute(plan)
    assert all(math.isfinite(one) for one in numbers(msgspec.to_builtins(result)))
    assert json.loads(json.dumps(msgspec.to_builtins(result), allow_nan=False))["channel"] == plan.channel
    assert bool(result.channels) == (plan.networks is not None)


def test_a_devices_own_power() -> None:
    """It replaces the assumed one for that link, one way."""
    strong = compute(replace(HOUSE, links=(HOUSE.links[0], replace(HOUSE.links[0], power_dbm=10.0))))
    usual, own = strong.links_best
    assert own.to_coordinator.level_dbm == pytest.approx(usual.to_coordinator.level_dbm + 7.0)
    assert own.to_device.level_dbm == usual.to_device.level_dbm


def test_devices_that_hear_other_wifi() -> None:
    """Where the devices hear less of it, what reaches them is spoiled less; the coordinator's own air stays."""
    usual = compute(HOUSE).links_best[1]
    quiet = compute(replace(HOUSE, given={"device_hears": -50.0})).links_best[1]
    assert quiet.to_device.frame_errors < usual.to_device.frame_errors
    assert quiet.to_coordinator.frame_errors == usual.to_coordinator.frame_errors
    assert quiet.to_coordinator.while_on_db == usual.to_coordinator.while_on_db
    assert (usual.to_coordinator.busy, quiet.to_coordinator.busy) == pytest.approx((0.2, 0.0))


def test_another_channel() -> None:
    """Channel 25 is out of the way of both networks."""
    before, after = compute(HOUSE), compute(on_channel(HOUSE, 25))
    assert after.links_best[0].delivered_to_coordinator > before.links_best[0].delivered_to_coordinator
    assert after.channels == before.channels or after.wanted_dbm != before.wanted_dbm  # only the links' frequency moves
    with pytest.raises(ValueError, match="from 11 to 26"):
        on_channel(HOUSE, 27)


@given(st.floats(-40, 60))
def test_noise(more: float) -> None:
    """It shifts both ends, and never below the receiver's own noise."""
    changed = with_noise(HOUSE, more)
    assert changed.rise_best_db == pytest.approx(min(max(3.0 + more, 0.0), 60.0))
    assert changed.rise_worst_db == pytest.approx(min(max(20.0 + more, 0.0), 60.0))


def test_an_extension() -> None:
    """1.5 m is 12.2 wavelengths: 21.7 dB less of the neighbour, whose 20 dB become 2.2 (assumed, not measured)."""
    off = 20 * math.log10(1.5 / (299.792458 / 2440.0))
    assert off == pytest.approx(21.7, abs=0.05)
    changed = with_extension(HOUSE, 1.5)
    assert changed.rise_worst_db == pytest.approx(10 * math.log10(1 + 99 * 10 ** (-off / 10)))
    assert 0.0 < changed.rise_best_db < 0.1
    assert with_extension(replace(HOUSE, given={"usb3_slope": 0.0}), 1.5).rise_worst_db == pytest.approx(20.0)


def test_nothing_is_known_within_a_wavelength() -> None:
    """A cable of 10 cm takes nothing off."""
    assert with_extension(HOUSE, 0.1).rise_worst_db == pytest.approx(20.0)


@given(st.floats(0.01, 5.0), st.floats(1, 10))
def test_a_longer_cable_is_never_louder(length: float, factor: float) -> None:
    """And never makes the air quieter than without the neighbour."""
    near, far = with_extension(HOUSE, length), with_extension(HOUSE, min(length * factor, 5.0))
    assert 0.0 <= far.rise_worst_db <= near.rise_worst_db + 1e-9 <= 20.0 + 1e-6


def test_wifi_moved() -> None:
    """The loudest, or the one that is named; the others stay."""
    assert plans.with_wifi_on(HOUSE, 1).networks[0].centre_mhz == 2412.0  # type: ignore[index]  # HOUSE has networks
    moved = with_wifi_on(HOUSE, 11, "attic").networks
    assert moved is not None
    assert [one.centre_mhz for one in moved] == [2437.0, 2462.0]


@pytest.mark.parametrize(("channel", "centre"), [(1, 2422.0), (6, 2447.0), (7, 2432.0), (13, 2462.0)])
def test_wide_wifi_moved(channel: int, centre: float) -> None:
    """40 MHz are two channels of 20: their centre lies 10 MHz beside the first's, on one of 2422 to 2462 MHz.

    (ns-3, wifi-phy-operating-channel.cc, has 40 MHz blocks centred on channels 3 to 11.)
    """
    wide = replace(HOUSE, networks=(Network("hall", 2437.0, -45.0, "ht40"),))
    moved = with_wifi_on(wide, channel).networks
    assert moved is not None
    assert moved[0].centre_mhz == centre
    assert 2422.0 <= centre <= 2462.0


@pytest.mark.parametrize(
    ("changes", "range_"),
    [
        ({"channel": 27}, "from 11 to 26"),
        ({"networks": (Network("n", 2437.0, -50.0),) * 1001}, "larger than 1000"),
        ({"networks": (Network("n", 5180.0, -50.0),)}, "2400 to 2500 MHz"),
        ({"links": HOUSE.links[:1] * 501}, "more than 500"),
        ({"links": (LinkPlan("n", 5.0, power_dbm=40.0),)}, "outside -20 to 20 dBm"),
        ({"rise_worst_db": 61.0}, "0 to 60 dB"),
        ({"rise_best_db": math.nan}, "0 to 60 dB"),
        ({"rise_best_db": 30.0}, "exchange them"),
        ({"given": {"luck": 1.0}}, "no assumption"),
    ],
)
def test_plans_that_cannot_be(changes: dict[str, Any], range_: str) -> None:
    """They are refused with the allowed range."""
    with pytest.raises(ValueError, match=range_):
        compute(replace(HOUSE, **changes))


def test_changes_that_cannot_be() -> None:
    """So are cables longer than USB 2 allows, noise out of range, and Wi-Fi that is not there."""
    for length in (0.0, -1.0, 5.1, math.nan):
        with pytest.raises(ValueError, match="0 m to 5 m"):
            with_extension(HOUSE, length)
    for more in (-41.0, 61.0, math.nan):
        with pytest.raises(ValueError, match="-40 to 60 dB"):
            with_noise(HOUSE, more)
    with pytest.raises(ValueError, match="from 1 to 14"):
        with_wifi_on(HOUSE, 36)
    with pytest.raises(ValueError, match="for DSSS alone"):
        with_wifi_on(HOUSE, 14)
    with pytest.raises(ValueError, match="no network is called `barn`"):
        with_wifi_on(HOUSE, 1, "barn")
    for networks in (None, ()):
        with pytest.raises(ValueError, match="no Wi-Fi network in the survey"):
            with_wifi_on(replace(HOUSE, networks=networks), 1)
