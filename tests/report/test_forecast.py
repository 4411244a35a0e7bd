"""The next restart as text."""

from __future__ import annotations

import re

import pytest
from msgspec.structs import replace

from radiocheck.chain.verdict import Forecast, Missing, Outcome
from radiocheck.report.forecast import HEADING, SAID, calm, lines
from radiocheck.report.layout import Look, columns
from radiocheck.report.text import text

from .scenarios import ATTIC, BROKEN, SOUND, report

BOTH = Forecast(
    vm="hearth",
    text="hostdev 1209:7a01",
    at_vm_restart="comes-back",
    at_vm_restart_why="nothing else here has 1209:7a01",
    at_host_restart="comes-back",
    at_host_restart_why="nothing else here has 1209:7a01",
)
PINNED = Forecast(
    vm="hearth",
    text="hostdev bus 1 device 5",
    at_vm_restart="comes-back",
    at_vm_restart_why="it is bus 1 device 5 as long as it stays plugged in",
    at_host_restart="by-chance",
    at_host_restart_why="bus and device number are given anew at every boot",
)
HIDDEN = Forecast(
    vm="hearth",
    text="usb-host hostdevice=/dev/bus/usb/001/005",
    at_vm_restart=None,
    at_vm_restart_why="",
    at_host_restart=None,
    at_host_restart_why="",
    missing=[Missing(what="domains", why="this user may not read it", provide="run as root")],
)


def joined(*forecast: Forecast, width: int = 80) -> str:
    """The block in one line."""
    return " ".join(" ".join(lines(forecast, Look(width))).split())


def test_one_line_when_all_comes_back() -> None:
    """Both restarts and the reason fit on one line, two at most."""
    assert lines([BOTH], Look(80)) == [
        HEADING,
        "  of hearth or the host:  comes back; nothing else here has 1209:7a01",
    ]
    longer = replace(BOTH, at_host_restart_why=f"{BOTH.at_host_restart_why}, and the bus keeps its number")
    assert len(lines([longer], Look(80))) == 3
    assert "keeps its number" in joined(longer)


def test_each_restart_has_its_line_when_they_differ() -> None:
    """The VM's and the host's stand below each other, each with its own reason."""
    assert joined(PINNED) == (
        f"{HEADING} of hearth: comes back; it is bus 1 device 5 as long as it stays plugged in "
        "of the host: comes back by chance only; bus and device number are given anew at every boot"
    )


def test_several_vms_are_told_apart() -> None:
    """With two VMs the host's lines say whose they are; two lines of one VM are quoted."""
    attic = replace(PINNED, vm="attic")
    assert "of the host, hearth:" in joined(PINNED, attic)
    assert "of the host, attic:" in joined(PINNED, attic)
    assert "of hearth (line `hostdev bus 1 device 5`):" in joined(PINNED, BOTH)


def test_what_is_not_known_says_what_would_show_it() -> None:
    """No outcome, and the way to one."""
    assert joined(HIDDEN) == f"{HEADING} of hearth or the host: not known; to see it, run as root"
    nobody = replace(HIDDEN, missing=[Missing(what="usb", why="it is not in this evidence", provide="")])
    assert "USB devices could not be read" in joined(nobody)


@pytest.mark.parametrize("width", [40, 64, 80, 110])
@pytest.mark.parametrize("outcome", SAID)
def test_fits_the_terminal(width: int, outcome: Outcome) -> None:
    """No line is wider than asked for, whatever is told of whom."""
    long = replace(PINNED, at_host_restart=outcome, vm="the-machine-in-the-attic")
    assert all(columns(line) <= width for line in lines([PINNED, long], Look(width)))


def test_colours_only_add() -> None:
    """Without the ink the text is the same."""
    plain, painted = lines([PINNED], Look(80)), lines([PINNED], Look(80, colour=True))
    assert painted != plain
    assert [re.sub(r"\x1b\[\d*m", "", line) for line in painted] == plain


def test_where_it_stands() -> None:
    """Behind what is to be mended and before the other steps; sound chains have it too."""
    shown = text(report(replace(BROKEN, forecast=[PINNED])), 80)
    assert shown.index("worked if") < shown.index(HEADING) < shown.index("The other steps")
    assert HEADING in text(report(replace(SOUND, forecast=[BOTH])), 80)
    assert HEADING not in text(report(SOUND), 80)


def test_a_sound_chain_with_a_bad_restart_is_not_condensed() -> None:
    """Further sound chains share a line, but not one that loses its adapter at a restart."""
    first = replace(SOUND, forecast=[BOTH])
    assert "Also sound" in text(report(first, replace(ATTIC, forecast=[BOTH])), 80)
    shown = text(report(first, replace(ATTIC, forecast=[PINNED])), 80)
    assert "Also sound" not in shown
    assert "by chance only" in shown
    assert calm(ATTIC)


def test_hostile_names_are_escaped() -> None:
    """A VM's name with a terminal control does not reach the terminal."""
    bad = replace(PINNED, vm="he\x1b[2Jarth", at_vm_restart_why="of he\x1b[2Jarth")
    assert "\x1b" not in text(report(replace(BROKEN, forecast=[bad])), 80)
