"""The machine's own Wi-Fi, as transmitters for the radio computation."""

from __future__ import annotations

from radiocheck.evidence.absent import known
from radiocheck.evidence.air import WifiNetwork
from radiocheck.evidence.record import Evidence
from radiocheck.radio.survey import HIGHEST_DBM, LOWEST_DBM, MOST_NETWORKS, Network

HIDDEN = "(hidden)"


def networks(evidence: Evidence) -> tuple[Network, ...] | None:
    """The networks that were heard and whose level is known; None when there are none.  There may be more.

    The level is that at the machine's Wi-Fi antenna, taken for the one at the adapter's.
    The load that a network tells is of its whole channel (IEEE 802.11, BSS Load element;
    from memory), so the highest one counts once, for the loudest that tells any.
    """
    if not known(evidence.wifi):
        return None
    found: list[Network] = []
    loads: dict[float, float] = {}
    for one in evidence.wifi:
        if known(one.busy):
            loads[one.freq_mhz] = max(loads.get(one.freq_mhz, 0.0), min(max(one.busy, 0.0), 1.0))
    for one in sorted(evidence.wifi, key=lambda one: -_level(one)):
        if known(one.level_dbm):
            found.append(_heard(one, loads.pop(one.freq_mhz, 0.0) if known(one.busy) else None))
    return tuple(found[:MOST_NETWORKS]) or None


def _level(one: WifiNetwork) -> float:
    return one.level_dbm if known(one.level_dbm) else LOWEST_DBM


def _heard(one: WifiNetwork, busy: float | None) -> Network:
    centre = one.centre_mhz if known(one.centre_mhz) else one.freq_mhz
    return Network(
        name=one.ssid if isinstance(one.ssid, str) and one.ssid else HIDDEN,
        centre_mhz=min(max(centre, 2400.0), 2500.0),
        level_dbm=min(max(_level(one), LOWEST_DBM), HIGHEST_DBM),
        mask=_mask(one),
        busy=busy,
    )


def _mask(one: WifiNetwork) -> str:
    """The transmit mask of what it offers; of the usual kind where it is not told."""
    wide = 40 if known(one.width_mhz) and one.width_mhz >= 40 else 20
    if one.standard == "ax":
        return f"he{wide}"
    return {"b": "dsss", "g": "ofdm"}.get(one.standard if known(one.standard) else "", f"ht{wide}")
