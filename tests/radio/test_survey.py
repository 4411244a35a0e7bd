"""Wi-Fi networks against the sixteen channels."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from radiocheck.radio.channels import MESH, free_of_wifi, wifi_mhz
from radiocheck.radio.masks import MASKS, share_db
from radiocheck.radio.survey import (
    Channel,
    Listening,
    Network,
    all_channels,
    in_channel_dbm,
    network_checked,
    ranked,
    speakers,
)

LISTENING = Listening(
    wanted_dbm=-75.0,
    noise_dbm=-103.0,
    device_noise_dbm=-103.0,
    octets=60,
    implementation_loss_db=5.0,
    width_mhz=2.0,
    reserve_db=0.0,
    burst_us=1500.0,
    threshold_dbm=-75.0,
    device_hears_db=0.0,
)
NETWORK = st.builds(
    Network,
    st.sampled_from(["hall", "attic", ""]),
    st.sampled_from([wifi_mhz(channel) for channel in range(1, 15)]) | st.floats(2400, 2500),
    st.floats(-110, 0),
    st.sampled_from(list(MASKS)),
    st.none() | st.floats(0, 1),
)


def survey(*networks: Network, **changes: Any) -> list[Channel]:
    """All channels under some networks, a fifth of the time being assumed of those that tell none."""
    return all_channels(speakers(networks, 0.2), replace(LISTENING, **changes))


def on(wifi: int, level: float = -50.0, mask: str = "ht20", busy: float | None = None, name: str = "hall") -> Network:
    """A network on a Wi-Fi channel."""
    return Network(name, wifi_mhz(wifi), level, mask, busy)


def test_no_networks() -> None:
    """All channels are alike and clear, none stands above another, and no figure is infinite."""
    channels = survey()
    assert [one.channel for one in ranked(channels)] == list(MESH)
    assert {(one.interference_dbm, one.frame_errors, one.delivered, one.busy) for one in channels} == {(None, 0, 1, 0)}
    assert {one.sinr_db for one in channels} == {28.0}
    assert all(one.reasons[0].code == "no-network" for one in channels)


@pytest.mark.parametrize(
    ("wifi", "clear"),
    [((1, 6, 11), [15, 20, 25, 26]), ((1, 7, 13), [15, 16, 21, 22])],
)
def test_the_annexes_own_choice(wifi: tuple[int, ...], clear: list[int]) -> None:
    """IEEE Std 802.15.4-2006 §E.3.6: the channels between Wi-Fi's come first, for DSSS, which it is about."""
    channels = survey(*(on(one, -55.0, "dsss") for one in wifi))
    assert sorted(one.channel for one in ranked(channels)[:4]) == clear == free_of_wifi(list(wifi))
    between = {one.channel for one in channels if any(reason.code == "between" for reason in one.reasons)}
    assert sorted(between) == clear


def test_power_in_the_filter() -> None:
    """The level less what the mask keeps out; a reserve below the mask counts beside the flat top only."""
    network = on(6, -50.0)
    assert in_channel_dbm(network, 17, 2.0) == -50.0 + share_db(MASKS["ht20"], 2.0)
    assert in_channel_dbm(network, 20, 2.0) == -50.0 + share_db(MASKS["ht20"], 13.0)
    assert in_channel_dbm(network, 17, 2.0, 10.0) == in_channel_dbm(network, 17, 2.0)
    assert in_channel_dbm(network, 20, 2.0, 10.0) == in_channel_dbm(network, 20, 2.0) - 10.0


def test_networks_of_one_channel_take_turns() -> None:
    """A hundred of them are as bad as the loudest with the air time of the busiest."""
    crowd = [on(6, -60.0 - number / 10, busy=0.1, name=f"n{number}") for number in range(99)]
    together = survey(on(6, -50.0, busy=0.05), *crowd)
    assert together == survey(on(6, -50.0, busy=0.1))


def test_networks_of_two_channels_add_up() -> None:
    """All at once is the worst case: two equal powers in a filter are 3 dB more."""
    alone, both = survey(on(6, -50.0, "dsss")), survey(on(6, -50.0, "dsss"), on(7, -50.0, "dsss"))
    assert alone[6].interference_dbm == pytest.approx(-60.414, abs=1e-3)
    assert both[6].interference_dbm == pytest.approx(-60.414 + 3.0103, abs=1e-3)
    assert both[6].busy == pytest.approx(1 - 0.8**2)


def test_loudest_first() -> None:
    """At most three are told, each with its own part."""
    channels = survey(*(on(wifi, -40.0 - wifi, name=f"n{wifi}") for wifi in (2, 5, 6, 8)))
    told = channels[6].loudest  # 17, at 2435 MHz
    assert [one.name for one in told] == ["n5", "n6", "n2"]
    assert [one.offset_mhz for one in told] == [3.0, -2.0, 18.0]
    assert [one.in_channel_dbm for one in told] == sorted((one.in_channel_dbm for one in told), reverse=True)


def test_looks_that_find_the_channel_taken() -> None:
    """Whoever hears the network above the threshold finds its air time taken; what it spoils is the same for both."""
    near, far = survey(on(6, -50.0), device_hears_db=0.0)[6], survey(on(6, -50.0), device_hears_db=-40.0)[6]
    assert near.busy == far.busy == pytest.approx(0.2)
    assert near.frame_errors == far.frame_errors == pytest.approx(near.loudest[0].hits)
    assert far.delivered == pytest.approx(1 - far.frame_errors**4)
    assert near.delivered < far.delivered  # five looks in a row find it taken, once in three thousand


def test_noise_above_the_threshold_stops_the_coordinator_only() -> None:
    """Its looks find the channel taken for good; a device far from the computer looks at its own air."""
    deaf = survey(noise_dbm=-70.0)[0]
    assert deaf.busy == 1.0
    assert deaf.frame_errors == 1.0
    assert deaf.reasons[0].code == "too-weak"


@pytest.mark.parametrize("mask", MASKS)
@pytest.mark.parametrize("centre", [2400.0, 2405.0 + 9.0, 2405.0 + 11.0, 2405.0 + 22.0, 2500.0])
@pytest.mark.parametrize("level", [-110.0, 0.0])
def test_edges(mask: str, centre: float, level: float) -> None:
    """Networks exactly on an edge, the weakest and the loudest: every figure is finite and a share is one."""
    for one in survey(Network("edge", centre, level, mask, 1.0)):
        figures = (one.interference_dbm, one.sinr_db, one.margin_db, *(part.in_channel_dbm for part in one.loudest))
        assert all(figure is not None and math.isfinite(figure) for figure in figures)
        assert all(0.0 <= share <= 1.0 for share in (one.frame_errors, one.worst_errors, one.busy, one.delivered))


@given(st.lists(NETWORK, max_size=5), NETWORK)
def test_one_more_network_never_helps(networks: list[Network], other: Network) -> None:
    """Neither to errors nor to what is delivered, on no channel."""
    for before, after in zip(survey(*networks), survey(*networks, other), strict=True):
        assert after.frame_errors >= before.frame_errors - 1e-9
        assert after.worst_errors >= before.worst_errors - 1e-9
        assert after.busy >= before.busy - 1e-9
        assert after.delivered <= before.delivered + 1e-9
        assert after.margin_db <= before.margin_db + 1e-9


def test_a_thousand_networks() -> None:
    """They come down to one for each Wi-Fi channel and mask."""
    crowd = [on(1 + number % 13, -40.0 - number % 50, "ht20", None, f"n{number}") for number in range(1000)]
    assert len(speakers(crowd, 0.2)) == 13
    assert len(survey(*crowd)) == 16


@pytest.mark.parametrize(
    ("changes", "range_"),
    [
        ({"mask": "wimax"}, "write one of dsss"),
        ({"centre_mhz": 5180.0}, "2400 to 2500 MHz"),
        ({"centre_mhz": math.nan}, "2400 to 2500 MHz"),
        ({"level_dbm": -110.1}, "-110 to 0 dBm"),
        ({"level_dbm": 1.0}, "-110 to 0 dBm"),
        ({"level_dbm": math.nan}, "-110 to 0 dBm"),
        ({"busy": 1.5}, "0 to 1"),
    ],
)
def test_networks_that_cannot_be(changes: dict[str, Any], range_: str) -> None:
    """They are refused with the allowed range."""
    with pytest.raises(ValueError, match=range_):
        network_checked(replace(on(6), **changes))
