"""Reasons for a channel's rank."""

from __future__ import annotations

import pytest

from radiocheck.radio.channels import MESH
from radiocheck.radio.reasons import CODES, Reason, of_figures, of_networks, of_place


def test_places_that_matter() -> None:
    """2480 MHz is channel 26 itself, 2426 is 1 MHz from 15; 26 is 3.5 MHz from 2483.5 MHz.

    The raster is RF-PHY's, the band IEEE Std 802.15.4-2006 Table 1; §F.2.3 and Table F.3 restrict what lies above.
    """
    found = {channel: [(one.code, one.value) for one in of_place(channel)] for channel in MESH}
    assert {channel: reasons for channel, reasons in found.items() if reasons} == {
        15: [("beacons", 1.0)],
        26: [("beacons", 0.0), ("band-edge", 3.5)],
    }


@pytest.mark.parametrize(
    ("offset", "code"), [(0.0, "inside"), (8.0, "inside"), (-9.0, "inside"), (9.01, "between"), (-12.0, "between")]
)
def test_edges_of_a_network(offset: float, code: str) -> None:
    """A centre exactly on the edge of the flat top counts as inside."""
    assert of_networks([(offset, 9.0, "attic")], -60.0, "attic", -103.0) == [
        Reason(code, abs(offset), "MHz", "attic"),
        Reason("above-noise", 43.0, "dB", "attic"),
    ]


def test_the_nearest_edge_is_told() -> None:
    """A wide network farther away may be the nearer one; the loudest may be another."""
    place, power = of_networks([(12.0, 9.0, "narrow"), (20.0, 19.0, "wide")], -110.0, "narrow", -103.0)
    assert place == Reason("between", 20.0, "MHz", "wide")
    assert power == Reason("below-noise", 7.0, "dB", "narrow")


def test_no_network() -> None:
    """An empty survey is a reason too."""
    assert of_networks([], None, "", -103.0) == [Reason("no-network")]


def test_figures() -> None:
    """Shares below one in a hundred, and reserves, are not told."""
    assert of_figures(0.0, 0.009, -3.0) == []
    assert [one.code for one in of_figures(0.2, 0.5, 3.0)] == ["too-weak", "taken", "lossy"]


def test_every_code_is_explained() -> None:
    """What is told is in the list of codes, with what its value means."""
    told = {one.code for channel in MESH for one in of_place(channel)}
    told |= {one.code for one in of_figures(1.0, 1.0, 1.0)} | {one.code for one in of_networks([], None, "", 0.0)}
    for offset, loud in ((0.0, -60.0), (20.0, -120.0)):
        told |= {one.code for one in of_networks([(offset, 9.0, "attic")], loud, "attic", -103.0)}
    assert told == set(CODES)
