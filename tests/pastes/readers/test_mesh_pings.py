"""Statistics of pings in a mesh (wpan-tools, wpan-ping.c; iputils: from memory)."""

from __future__ import annotations

import pytest

from radiocheck.evidence.air import AirReading

from .said import typed, values

LOST = "50 packets transmitted, 7 received, 86% packet loss\n"


def said(text: str) -> list[AirReading]:
    """Readings."""
    found: list[AirReading] = values("mesh_pings", text, "air")
    return found


@pytest.mark.parametrize(
    "text",
    [
        typed("sudo wpan-ping -a 0x0002 -c 50", LOST),
        "PING 0x0002 (PAN ID 0xbeef) 5 data bytes\n...\n" + LOST,
        "--- 0x0002 ping statistics ---\n" + LOST,
        typed("ping -c 50 fe80::2%lowpan0", "--- fe80::2%lowpan0 ping statistics ---\n" + LOST),
    ],
)
def test_a_mesh(text: str) -> None:
    """By the command, the first line or the heading."""
    (found,) = said(text)
    assert (found.kind, found.sent, found.received, found.transfer, found.setup) == ("loss", 50, 7, None, "same")


@pytest.mark.parametrize("text", [LOST, typed("ping -c 50 192.0.2.1", "--- 192.0.2.1 ping statistics ---\n" + LOST)])
def test_other_networks(text: str) -> None:
    """What is lost in another network says nothing of the radio."""
    assert said(text) == []


def test_what_ran_meanwhile() -> None:
    """A comment before the command; the one before the measurement above counts no more."""
    ping = typed("sudo wpan-ping -a 0x0002 -c 50", LOST)
    found = said(f"# disk idle\n{ping}\n# rsync to the disk\n{ping}\n{ping}")
    assert [one.transfer for one in found] == ["idle", "busy", None]
