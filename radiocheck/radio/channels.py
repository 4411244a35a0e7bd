"""Where channels lie in the 2.4 GHz band; all frequencies are centres in MHz.

IEEE Std 802.15.4-2006 §6.1.2.1 (2011: §8.1.2.2); IEEE 802.11 channel n is at 2407 + 5 n,
channel 14 at 2484 MHz (as in ns-3's table of operating channels; clause numbers from
memory); Bluetooth LE channel n of the raster at 2402 + 2 n MHz (RF-PHY test suite 5.0).
"""

from __future__ import annotations

MESH = range(11, 27)  # IEEE 802.15.4 channel page 0, O-QPSK
WIFI = range(1, 15)
BLE = range(40)
BLE_ADVERTISING = (2402.0, 2426.0, 2480.0)  # MHz; their channel numbers are 37, 38, 39 (from memory)
BAND = (2400.0, 2483.5)  # MHz, IEEE Std 802.15.4-2006 Table 1


def mesh_mhz(channel: int) -> float:
    """Centre of an IEEE 802.15.4 channel.  Raises `ValueError` off the band."""
    if channel not in MESH:
        raise ValueError(f"channel {channel} is not in the 2.4 GHz band of IEEE 802.15.4; write one from 11 to 26")
    return 2405.0 + 5.0 * (channel - 11)


def wifi_mhz(channel: int) -> float:
    """Centre of a Wi-Fi channel of 20 MHz.  Raises `ValueError` off the band."""
    if channel not in WIFI:
        raise ValueError(f"Wi-Fi channel {channel} is not in the 2.4 GHz band; write one from 1 to 14")
    return 2484.0 if channel == 14 else 2407.0 + 5.0 * channel


def wifi_channel(freq_mhz: float) -> int | None:
    """The Wi-Fi channel of 20 MHz with this centre; None when there is none."""
    return next((channel for channel in WIFI if abs(wifi_mhz(channel) - freq_mhz) < 0.5), None)


def ble_mhz(number: int) -> float:
    """Centre of place 0 to 39 of the Bluetooth LE raster.  Raises `ValueError` off it."""
    if number not in BLE:
        raise ValueError(f"place {number} is not on the Bluetooth LE raster; write one from 0 to 39")
    return 2402.0 + 2.0 * number


def free_of_wifi(wifi_channels: list[int], half_width_mhz: float = 11.0) -> list[int]:
    """IEEE 802.15.4 channels whose centre lies outside all these Wi-Fi channels (IEEE Std 802.15.4-2006 §E.3.6)."""
    centres = [wifi_mhz(channel) for channel in wifi_channels]
    return [one for one in MESH if all(abs(mesh_mhz(one) - centre) > half_width_mhz for centre in centres)]
