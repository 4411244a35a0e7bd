"""Channel centres and gaps between Wi-Fi channels."""

from __future__ import annotations

from itertools import pairwise

import pytest

from radiocheck.radio import channels


def test_mesh_centres() -> None:
    """IEEE Std 802.15.4-2006 §6.1.2.1: 2405 + 5 (k − 11) MHz, k from 11 to 26; so 2405 to 2480 MHz."""
    centres = [channels.mesh_mhz(channel) for channel in channels.MESH]
    assert centres[0] == 2405
    assert centres[-1] == 2480
    assert [b - a for a, b in pairwise(centres)] == [5] * 15
    assert all(channels.BAND[0] < centre < channels.BAND[1] for centre in centres)  # Table 1: 2400–2483.5 MHz


@pytest.mark.parametrize(("channel", "mhz"), [(1, 2412), (6, 2437), (7, 2442), (11, 2462), (13, 2472), (14, 2484)])
def test_wifi_centres(channel: int, mhz: int) -> None:
    """IEEE Std 802.15.4-2006 Figure E.1 draws 1, 6, 7, 11 and 13; 14 is in ns-3's wifi-phy-operating-channel.cc."""
    assert channels.wifi_mhz(channel) == mhz
    assert channels.wifi_channel(mhz) == channel


def test_frequency_without_a_wifi_channel() -> None:
    """The centre of a 40 MHz block may fall between the 20 MHz channels' or on one; 2435 MHz is none."""
    assert channels.wifi_channel(2435.0) is None


def test_ble_raster() -> None:
    """Bluetooth LE: 2402 + 2 n MHz, n from 0 to 39 (RF-PHY test suite 5.0); advertising at 2402, 2426, 2480."""
    raster = [channels.ble_mhz(number) for number in channels.BLE]
    assert (raster[0], raster[-1]) == (2402, 2480)
    assert set(channels.BLE_ADVERTISING) <= set(raster)


@pytest.mark.parametrize("half_width", [10.0, 11.0])
def test_gaps_of_1_6_11(half_width: float) -> None:
    """IEEE Std 802.15.4-2006 §E.3.6: "n = 15, 20, 25, 26 for North America"."""
    assert channels.free_of_wifi([1, 6, 11], half_width) == [15, 20, 25, 26]


@pytest.mark.parametrize("half_width", [10.0, 11.0])
def test_gaps_of_1_7_13(half_width: float) -> None:
    """IEEE Std 802.15.4-2006 §E.3.6: "n = 15, 16, 21, 22 in Europe"."""
    assert channels.free_of_wifi([1, 7, 13], half_width) == [15, 16, 21, 22]


def test_no_gap_with_1_5_9_13() -> None:
    """Four Wi-Fi channels leave none (from the two grids; no published statement was found)."""
    assert channels.free_of_wifi([1, 5, 9, 13]) == []


def test_all_are_free_without_wifi() -> None:
    """Nothing is in the way of any channel."""
    assert channels.free_of_wifi([]) == list(range(11, 27))


@pytest.mark.parametrize("channel", [10, 27, 0, -1, 1_000_000])
def test_mesh_channels_off_the_band(channel: int) -> None:
    """They are refused with the allowed range."""
    with pytest.raises(ValueError, match="from 11 to 26"):
        channels.mesh_mhz(channel)


@pytest.mark.parametrize("channel", [0, 15, 36])
def test_wifi_channels_off_the_band(channel: int) -> None:
    """They are refused with the allowed range."""
    with pytest.raises(ValueError, match="from 1 to 14"):
        channels.wifi_mhz(channel)


def test_off_the_ble_raster() -> None:
    """It is refused with the allowed range."""
    with pytest.raises(ValueError, match="from 0 to 39"):
        channels.ble_mhz(40)
