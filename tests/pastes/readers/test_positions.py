"""Ports of a modem that send NMEA sentences."""

from __future__ import annotations

import pytest

from .said import typed, values

CONF = typed("cat /etc/wvdial.conf", "[Dialer lte]\nModem = /dev/ttyUSB2\nBaud = 460800\n")
SENT = "$GPVTG,,T,,M,,N,,K,N*2C\n$GPRMC,,V,,,,,,,,,,N*53\n"
READ = typed("timeout 3 cat /dev/ttyUSB2", SENT)


def paths(text: str) -> list[str | None]:
    """The ports."""
    return [one.path for one in values("positions", text, "app")]


def test_a_port_that_sends_positions() -> None:
    """It is configured for a modem program, and was read."""
    assert paths(CONF + READ) == paths(READ + CONF) == ["/dev/ttyUSB2"]


@pytest.mark.parametrize(
    "text",
    [
        CONF,
        READ,
        CONF + READ.replace("ttyUSB2", "ttyUSB1"),
        CONF + typed("cat /dev/ttyUSB2", "OK\n^RSSI:18\n"),
        CONF + typed("cat /dev/ttyUSB2", "") + typed("gpspipe -r", SENT),
        CONF.replace("Modem =", "gps =") + READ,
    ],
)
def test_what_says_nothing_of_a_modem(text: str) -> None:
    """Nothing read, nothing configured, another port, answers of a modem, another program, a receiver."""
    assert paths(text) == []
