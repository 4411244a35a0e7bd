"""What measurements with the adapter's own radio come to, beside those that must blame nothing."""

from __future__ import annotations

import pytest

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.cli.judging import answer

from . import machines as m

RULES = load([shipped()])
FULL = "/:  Bus 01.Port 1: Dev 1, Class=root_hub, Driver=xhci_hcd/8p, 480M\n"
OWN = f"{FULL}    |__ Port 2: Dev 3, If 0, Class=Communications, Driver=cdc_acm, 12M\n"
DISK = (
    "/:  Bus 02.Port 1: Dev 1, Class=root_hub, Driver=xhci_hcd/4p, 5000M\n"
    "    |__ Port 1: Dev 2, If 0, Class=Mass Storage, Driver=uas, 5000M\n"
)
TREE = f"$ lsusb -t\n{DISK}{OWN}"
QUIET, LOUD = [-95] * 16, [-70] * 16
WIFI = [-60] * 12 + [-95] * 4  # over the channels 11 to 22


def scan(head: str, levels: list[int]) -> str:
    """A scan under a heading."""
    return f"{head}\n{' '.join(f'ch{11 + at}={level}' for at, level in enumerate(levels))}\n\n"


def ping(head: str, received: int, sent: int = 50) -> str:
    """A ping under a comment."""
    lost = 100 * (sent - received) // sent
    made = f"{sent} packets transmitted, {received} received, {lost}% packet loss"
    return f"# {head}\n$ sudo wpan-ping -a 0x0002 -c {sent}\n--- 0x0002 ping statistics ---\n{made}\n\n"


IDLE, BUSY = scan("disk asleep", QUIET), scan("rsync to the disk", LOUD)
FEW, MOST = ping("disk idle", 49), ping("dd from the disk", 7)


def verdict(text: str) -> tuple[str, str | None]:
    """State and step."""
    found = answer(text.encode(), "case", RULES, reasons=False).report.verdict
    return found.state, found.step


@pytest.mark.parametrize(
    ("text", "state"),
    [
        (TREE + IDLE + BUSY, "weak"),
        (TREE + BUSY + IDLE, "weak"),
        (TREE + FEW + MOST, "broken"),
        (TREE + FEW + MOST + ping("dd again, node moved to 20 cm", 46), "broken"),
        (TREE + IDLE + BUSY + FEW + MOST, "broken"),
        (TREE + FEW + MOST + ping("extension lead, dd again", 9), "broken"),
    ],
)
def test_the_disk_drowns_it(text: str, state: str) -> None:
    """In any order; a device that was moved near, or a lead that did not help, take nothing back."""
    assert verdict(text) == (state, "air")


@pytest.mark.parametrize(
    "text",
    [
        TREE + IDLE,
        TREE + BUSY,
        "$ lsusb -t\n" + OWN + IDLE + BUSY,
        "$ lsusb -t\n" + OWN + FEW + MOST,
        TREE + IDLE + scan("rsync to the disk", WIFI),
        TREE + IDLE + scan("backup over Wi-Fi", LOUD),
        TREE + IDLE + scan("microwave on", LOUD),
        TREE + IDLE + scan("rsync to the disk", [-91] * 16),
        TREE + IDLE + BUSY + scan("adapter on an extension, rsync again", QUIET),
        TREE + IDLE + BUSY + scan("now with a 1.5 m cable", QUIET),
        TREE + FEW + MOST + ping("moved the stick to another port", 50),
        TREE + ping("disk idle", 20) + MOST,
        TREE + FEW + ping("dd from the disk", 44),
        TREE + ping("disk idle", 5, 5) + ping("dd from the disk", 1, 5),
        TREE + FEW.replace("wpan-ping -a 0x0002", "ping 192.0.2.1").replace("0x0002", "192.0.2.1") + MOST,
        TREE + "    |__ Port 3: Dev 4, If 0, Class=Communications, Driver=cdc_acm, 12M\n" + IDLE + BUSY,
    ],
)
def test_what_blames_nothing(text: str) -> None:
    """One side only, no SuperSpeed, Wi-Fi, cured, bad at rest, few frames, another network, two adapters."""
    assert verdict(text)[1] != "air"


def test_a_transceiver_of_the_kernels_own() -> None:
    """It has no serial port, and a chain in such a paste only."""
    log = "[ 5.2] usb 1-2: New USB device found, idVendor=20b7, idProduct=1540, bcdDevice= 0.01\n"
    other = (
        "[ 6.0] usb 2-1: new SuperSpeed USB device number 2 using xhci_hcd\n"
        "[ 6.1] usb 2-1: New USB device found, idVendor=152d, idProduct=0578, bcdDevice= 5.08\n"
    )
    assert verdict(log + other + FEW + MOST) == ("broken", "air")
    assert verdict(log + other) == ("unseen", None)


def test_a_live_machine_has_none() -> None:
    """The rules are clear there."""
    step = next(one for one in judge(m.native(), RULES).chains[0].steps if one.step == "air")
    found = {one.rule: one.result for one in step.findings}
    assert found["deaf-during-transfers"] == found["band-rises-during-transfers"] == "clear"
