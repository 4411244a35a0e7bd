"""What people write above a measurement."""

from __future__ import annotations

import pytest

from radiocheck.pastes.line import lines
from radiocheck.pastes.meanwhile import around, load, setup


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("02:11, rsync to the disk running", "busy"),
        ("# dd if=/dev/sda of=/dev/null in another terminal", "busy"),
        ("with the SSD plugged in:", "busy"),
        ("während der Sicherung", "busy"),
        ("01:50, disk mounted but asleep", "idle"),
        ("# disk idle", "idle"),
        ("SSD unplugged", "idle"),
        ("before the backup", "idle"),
        ("no backup", "idle"),
        ("ohne Sicherung", "idle"),
        ("quiet times", "idle"),
        ("backup finished", "idle"),
        ("backup over Wi-Fi running", None),
        ("microwave on, disk busy", None),
        ("dd to the SD card", None),
        ("here is a copy of the log", None),
        ("[02:11:31] INFO nodes online=3/14", None),
    ],
)
def test_load(text: str, wanted: str | None) -> None:
    """A disk works or rests; what goes over the air or elsewhere is something else."""
    assert load(text) == wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("# dd again, node moved to 20 cm", "nearer"),
        ("sensor closer now", "nearer"),
        ("adapter on a 1.5 m extension", "changed"),
        ("moved the disk to the other side, dd again", "changed"),
        ("stick 50 cm away from the disk", "changed"),
        ("in another port", "changed"),
        ("# dd if=/dev/sda", "same"),
    ],
)
def test_setup(text: str, wanted: str) -> None:
    """A node that came near hears better; cables and sockets may have cured it."""
    assert setup(text) == wanted


def test_only_what_leads_to_it() -> None:
    """The paragraph of the measurement, and one short line above a gap; prose and what is farther up is not read."""
    rows = lines(b"rsync running\n\nNow it comes\n\n50 packets\n")
    assert around(rows, 4) == (None, "same")
    assert around(lines(b"rsync running\n\n50 packets\n"), 2) == ("busy", "same")
    assert around(lines(b"rsync running " + b"and so on " * 20 + b"\n\n50 packets\n"), 2) == (None, "same")
    assert around(lines(b"rsync running\n50 packets\n50 packets\n"), 2, after=1) == (None, "same")
