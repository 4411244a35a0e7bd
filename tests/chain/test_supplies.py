"""A UPS that a program speaks of without a node."""

from __future__ import annotations

import pytest

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.supplies import spoken_of
from radiocheck.pastes.merge import read
from tests.chain import machines as m

RULES = load([shipped()])
REFUSED = "nut-driver@ups[2231]: libusb1: Could not open any HID devices: insufficient permissions on everything\n"
LIST = "$ lsusb\nBus 001 Device 004: ID 051d:0002\nBus 001 Device 002: ID 0bda:0129 Card Reader Controller\n"


@pytest.mark.parametrize(
    ("text", "step"),
    [
        (REFUSED + LIST, "access"),
        (REFUSED + LIST + "Bus 001 Device 005: ID 0764:0501 Backup supply\n", None),  # which of the two is not told
        (REFUSED.replace("nut-driver@ups", "scanner").replace("HID devices", "scanner") + LIST, None),
    ],
)
def test_the_only_supply_is_meant(text: str, step: str | None) -> None:
    """By its maker, when the program is one for supplies and no other is there."""
    assert judge(read(text.encode()).evidence, RULES).verdict.step == step


def test_nothing_on_a_live_machine() -> None:
    """There are no such words."""
    assert spoken_of(m.native(), [m.stick(vid="051d")]) is None
