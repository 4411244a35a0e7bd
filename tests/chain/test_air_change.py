"""What if: before and after, side by side."""

from __future__ import annotations

import pytest

from radiocheck.chain.air_change import Changes
from radiocheck.chain.air_plan import Noise
from radiocheck.chain.air_report import Change, WhatIf

from .air_house import asked, report


def tried(changes: Changes, **more: object) -> WhatIf:
    """The house with something changed."""
    made = report(asked(**more, changes=changes)).what_if
    assert made is not None
    return made


def row(made: WhatIf, what: str) -> Change:
    """One figure."""
    return next(one for one in made.changes if one.what == what)


def test_nothing_asked() -> None:
    """Without a change there is nothing to compare."""
    assert report(asked()).what_if is None


def test_channel() -> None:
    """Another channel changes margin and delivery on it and on every link, and no noise."""
    made = tried(Changes(channel=25))
    assert made.asked == ["channel 25 instead of 17"]
    assert row(made, "noise rise at the adapter").before == row(made, "noise rise at the adapter").after
    delivered = row(made, "delivered on its channel")
    assert delivered.unit == "share"
    assert delivered.after.best > delivered.before.best
    assert row(made, "hall lamp: delivered").after.worst > row(made, "hall lamp: delivered").before.worst
    assert len(made.changes) == 3 + 2 * 6


def test_extension() -> None:
    """A longer cable takes noise away: the links gain at the worst end what the noise loses."""
    made = tried(Changes(extension_m=1.5))
    rise = row(made, "noise rise at the adapter")
    margin = row(made, "attic sensor: margin in quiet air")
    assert rise.after.worst < rise.before.worst
    gained = margin.after.worst - margin.before.worst
    assert gained == pytest.approx(rise.before.worst - rise.after.worst, abs=1e-6)


def test_noise() -> None:
    """Noise is added in dB at both ends, and never falls below the receiver's own."""
    louder = row(tried(Changes(noise_db=15.0)), "noise rise at the adapter")
    assert louder.after.best == pytest.approx(louder.before.best + 15.0)
    softer = row(tried(Changes(noise_db=-40.0)), "noise rise at the adapter")
    assert (softer.after.best, softer.after.worst) == (0.0, 0.0)


def test_move_wifi() -> None:
    """The loudest network, or the one that is named, is moved, and the sentence says which."""
    assert tried(Changes(wifi_channel=1)).asked == ["`gable-upstairs` on Wi-Fi channel 1"]
    assert tried(Changes(wifi_channel=1, wifi_name="gable-guest")).asked == ["`gable-guest` on Wi-Fi channel 1"]
    margin = row(tried(Changes(wifi_channel=1)), "margin over Wi-Fi on its channel")
    assert margin.after.best > margin.before.best
    assert "already" in tried(Changes(wifi_channel=6)).asked[0]


def test_all_at_once() -> None:
    """Several changes are tried together, and each is named."""
    made = tried(Changes(channel=20, extension_m=2.0, wifi_channel=1, noise_db=3.0))
    assert made.asked == [
        "the adapter on 2 m of USB 2 extension cable",
        "channel 20 instead of 17",
        "`gable-upstairs` on Wi-Fi channel 1",
        "+3 dB of noise at the adapter",
    ]


def test_measured_noise_on_a_cable() -> None:
    """A noise measured on half a metre falls by the ratio of the cables; a shorter one cannot be told."""
    measured = Noise(10.0, 20.0, "measured")
    rise = row(tried(Changes(extension_m=5.0), noise=measured), "noise rise at the adapter")
    assert rise.before.worst == 20.0
    # ten times the distance takes 20 dB off the neighbour's power, which is 99 times the receiver's own
    assert rise.after.worst == pytest.approx(2.99, abs=0.02)
    with pytest.raises(ValueError, match=r"measured on 0\.5 m of cable; an extension of 0\.3 m is shorter"):
        tried(Changes(extension_m=0.3), noise=measured)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (Changes(wifi_channel=1, wifi_name="nobody"), "no network is called `nobody` in the survey"),
        (Changes(channel=9), "write one from 11 to 26"),
    ],
)
def test_cannot_be(changes: Changes, said: str) -> None:
    """A change that cannot be is refused in a sentence."""
    with pytest.raises(ValueError, match=said):
        tried(changes)
