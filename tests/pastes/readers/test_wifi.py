"""Lists of Wi-Fi networks: iw 5.19, wireless-tools and nmcli 1.42, from memory of their forms."""

from __future__ import annotations

import pytest

from .said import said, values

IW = """BSS 02:00:00:00:01:00(on wlan0) -- associated
\tlast seen: 100.200s [boottime]
\tfreq: 2437
\tbeacon interval: 100 TUs
\tsignal: -48.00 dBm
\tSSID: hearth net
\tDS Parameter set: channel 6
\tBSS Load:
\t\t * station count: 2
\t\t * channel utilisation: 51/255
\tHT operation:
\t\t * primary channel: 6
\t\t * secondary channel offset: above
BSS 02:00:00:00:02:00(on wlan0)
\tfreq: 5180.0
\tsignal: -60.00 dBm
\tSSID: attic
"""


def test_iw() -> None:
    """Channel, width, level and how busy it is; the other band does not matter."""
    assert values("wifi", IW, "wifi") == [
        {
            "bssid": "02:00:00:00:01:00",
            "channel": 6,
            "level_dbm": -48.0,
            "ssid": "hearth net",
            "utilisation": 51,
            "width_mhz": 40,
        }
    ]


@pytest.mark.parametrize(("mhz", "channel"), [(2412, 1), (2462, 11), (2472, 13), (2484, 14)])
def test_the_channel_of_a_frequency(mhz: int, channel: int) -> None:
    """IEEE 802.11: 2407 MHz and 5 MHz per channel; 14 stands alone."""
    text = f"BSS 02:00:00:00:01:00(on wlan0)\n\tfreq: {mhz}.0\n\tSSID: x\n"
    assert [one["channel"] for one in values("wifi", text, "wifi")] == [channel]


def test_iwlist() -> None:
    """Cells of wireless-tools."""
    text = """wlan0     Scan completed :
          Cell 01 - Address: 02:00:00:00:01:00
                    Channel:11
                    Frequency:2.462 GHz (Channel 11)
                    Quality=70/70  Signal level=-38 dBm
                    ESSID:"attic"
"""
    assert values("wifi", text, "wifi") == [
        {"bssid": "02:00:00:00:01:00", "channel": 11, "level_dbm": -38.0, "ssid": "attic"}
    ]


@pytest.mark.parametrize(
    ("row", "found"),
    [
        ("*       02:00:00:00:01:00  hearth net  Infra  6     130 Mbit/s  87      ****  WPA2",
         {"ssid": "hearth net", "channel": 6, "bssid": "02:00:00:00:01:00"}),
        ("   attic  Infra  1   54 Mbit/s  40   **  WPA2", {"ssid": "attic", "channel": 1}),
    ],
)  # fmt: skip
def test_nmcli(row: str, found: dict[str, object]) -> None:
    """Its signal is a number from 0 to 100 and no level (nmcli(1))."""
    assert values("wifi", row, "wifi") == [found]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "BSS Load:",
        "   attic  Infra  36  54 Mbit/s  40   **  WPA2",
        "\tfreq: 2437",
        "BSS 02:00:00:00:01:00(on wlan0)\n",
    ],
)
def test_nothing_of_the_band(text: str) -> None:
    """Another band, or no channel."""
    assert said("wifi", text) == []
