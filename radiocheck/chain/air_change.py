"""What would be different: before and after, side by side."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from radiocheck.radio.plan import Plan, Result, on_channel, with_noise, with_wifi_on
from radiocheck.radio.survey import Channel
from radiocheck.radio.units import wavelength_m

from .air_plan import Noise, placed
from .air_report import Change, Span, WhatIf
from .air_rows import delivered, margin_db


class Changes(Struct, frozen=True, kw_only=True):
    """What is to be tried, all of it together."""

    channel: int | None = None
    extension_m: float | None = None
    wifi_channel: int | None = None
    wifi_name: str | None = None  # None: the loudest one
    noise_db: float | None = None

    @property
    def any(self) -> bool:
        """Whether anything is to be changed."""
        return any(value is not None for value in (self.channel, self.extension_m, self.wifi_channel, self.noise_db))


def changed(plan: Plan, noise: Noise, extension_m: float | None, changes: Changes) -> Plan:
    """The plan, which has no noise in it yet, with all changes.  Raises `ValueError` for what cannot be."""
    later = placed(plan, noise, _cable(noise, extension_m, changes.extension_m))
    if changes.channel is not None:
        later = on_channel(later, changes.channel)
    if changes.wifi_channel is not None:
        later = with_wifi_on(later, changes.wifi_channel, changes.wifi_name)
    if changes.noise_db is not None:
        later = with_noise(later, changes.noise_db)
    return later


def _cable(noise: Noise, now_m: float | None, then_m: float | None) -> float | None:
    """The cable by which the noise has to be lessened.

    A measured noise is that at the end of the cable the adapter is on: only what a new one
    adds to that counts, as the same share of a wavelength.
    """
    if noise.source != "measured":
        return now_m if then_m is None else then_m
    if then_m is None or now_m is None:
        return then_m
    if then_m < now_m:
        raise ValueError(f"the noise was measured on {now_m:g} m of cable; an extension of {then_m:g} m is shorter")
    return min(then_m / max(now_m, wavelength_m(2440.0)) * wavelength_m(2440.0), 5.0)


def compared(before: Plan, was: Result, after: Plan, becomes: Result, changes: Changes) -> WhatIf:
    """Every figure that may have changed, before and after."""
    rows = [
        Change(
            what="noise rise at the adapter",
            unit="dB",
            before=Span(before.rise_best_db, before.rise_worst_db),
            after=Span(after.rise_best_db, after.rise_worst_db),
        )
    ]
    rows += _channel(was, becomes)
    for old, bad, new, worse in zip(
        was.links_best, was.links_worst, becomes.links_best, becomes.links_worst, strict=True
    ):
        rows += [
            Change(
                what=f"{old.name}: margin in quiet air",
                unit="dB",
                before=Span(margin_db(old), margin_db(bad)),
                after=Span(margin_db(new), margin_db(worse)),
            ),
            Change(
                what=f"{old.name}: delivered",
                unit="share",
                before=Span(delivered(old), delivered(bad)),
                after=Span(delivered(new), delivered(worse)),
            ),
        ]
    return WhatIf(asked=_asked(before, after, changes), changes=rows)


def _channel(was: Result, becomes: Result) -> Sequence[Change]:
    old, bad = _own(was, was.channels), _own(was, was.channels_worst)
    new, worse = _own(becomes, becomes.channels), _own(becomes, becomes.channels_worst)
    if old is None or bad is None or new is None or worse is None:
        return ()
    return (
        Change(
            what="margin over Wi-Fi on its channel",
            unit="dB",
            before=Span(old.margin_db, bad.margin_db),
            after=Span(new.margin_db, worse.margin_db),
        ),
        Change(
            what="delivered on its channel",
            unit="share",
            before=Span(old.delivered, bad.delivered),
            after=Span(new.delivered, worse.delivered),
        ),
    )


def _own(result: Result, channels: Sequence[Channel]) -> Channel | None:
    return next((one for one in channels if one.channel == result.channel), None)


def _asked(before: Plan, after: Plan, changes: Changes) -> list[str]:
    said = []
    if changes.extension_m is not None:
        said.append(f"the adapter on {changes.extension_m:g} m of USB 2 extension cable")
    if changes.channel is not None:
        said.append(f"channel {after.channel} instead of {before.channel}")
    if changes.wifi_channel is not None:
        moved = [one for one, old in zip(after.networks or (), before.networks or (), strict=True) if one != old]
        name = f"`{moved[0].name}`" if moved else "the Wi-Fi network, which is there already,"
        said.append(f"{name} on Wi-Fi channel {changes.wifi_channel}")
    if changes.noise_db is not None:
        said.append(f"{changes.noise_db:+g} dB of noise at the adapter".replace("-", "\N{MINUS SIGN}"))
    return said
