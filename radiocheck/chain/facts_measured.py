"""What somebody has measured with the adapter's own radio while a USB disk worked, beside what it was while it rested.

A single Wi-Fi network raises the channels that it covers; SuperSpeed raises the whole band.
So the rise is that of the third of the channels that rose least, and of 25 and 26, which Wi-Fi
on its channels 1 to 11 leaves free (IEEE Std 802.15.4-2006, E.3.6).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from radiocheck.evidence.absent import known
from radiocheck.evidence.air import AirReading
from radiocheck.evidence.usb import UsbDevice

from .adapters import is_hub, label
from .context import Context
from .neighbours import SUPERSPEED
from .pasted import is_paste
from .subjects import Subject

LEAST_SENT = 20  # frames: with fewer the share that was lost says little
# dB for a step of a level.  Energy detection spans at least 40 dB (IEEE Std 802.15.4-2006, 6.9.7; from memory).
_DB = {"dBm": 1.0, "percent": 40.0 / 100.0, "steps": 40.0 / 255.0}


def measured_facts(context: Context, subject: Subject) -> dict[str, Any]:
    """Facts `…_in_transfer…` and `superspeed` of `AirFacts`; null on a live machine, or when it is not told."""
    facts: dict[str, Any] = {
        "superspeed": None,
        "lost_idle_permille": None,
        "lost_in_transfer_permille": None,
        "rise_in_transfer_db": None,
    }
    evidence = context.evidence
    # With two adapters it is not told whose radio it was.
    if not is_paste(evidence) or not known(evidence.air_readings) or len(context.subjects) != 1:
        return facts
    facts["superspeed"] = _superspeed(context, subject.device)
    losses = [one for one in evidence.air_readings if one.kind == "loss" and one.sent >= LEAST_SENT]
    if pair := _pair(losses):
        facts["lost_idle_permille"], facts["lost_in_transfer_permille"] = _lost(pair[0]), _lost(pair[1])
    if pair := _pair([one for one in evidence.air_readings if one.kind == "energy"]):
        facts["rise_in_transfer_db"] = _rise(*pair)
    return facts


def _superspeed(context: Context, own: UsbDevice | None) -> str | None:
    """A device that runs at SuperSpeed, in words; hubs carry it only while something behind them does."""
    for device in context.devices.values() if known(context.devices) else ():
        root = device.name.startswith("usb")
        if device is not own and not root and not is_hub(device) and known(device.speed) and device.speed >= SUPERSPEED:
            return label(device)
    return None


def _pair(readings: Sequence[AirReading]) -> tuple[AirReading, AirReading] | None:
    """The last reading at rest and the last one at work.

    With the other device moved near, neither can be compared.  After a change of cables or sockets the
    last reading counts as one at work, unless it says that it is not: people measure whether it helped.
    """
    told = [one for one in readings if one.setup != "nearer"]
    idle = [one for one in told if one.transfer == "idle"]
    busy = [one for one in told if one.transfer == "busy" or (one.transfer is None and one.setup == "changed")]
    return (idle[-1], busy[-1]) if idle and busy else None


def _lost(one: AirReading) -> int:
    return round(1000 * (one.sent - one.received) / one.sent)


def _rise(idle: AirReading, busy: AirReading) -> int | None:
    """Decibels, at least, by which the whole band is louder; None when the two cannot be compared."""
    if idle.unit != busy.unit or idle.unit not in _DB:
        return None
    before = dict(zip(idle.channels, idle.levels, strict=False))
    after = dict(zip(busy.channels, busy.levels, strict=False))
    rises = {channel: (after[channel] - before[channel]) * _DB[idle.unit] for channel in before if channel in after}
    free = [rises[channel] for channel in (25, 26) if channel in rises]
    if len(rises) < 12 or not free:
        return None
    return round(min([sorted(rises.values())[2], *free]))
