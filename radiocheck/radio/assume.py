"""Every assumption of a computation, with its range, so that it can be seen and changed.

Where a source is second-hand or from memory, the entry says so.
"""

from __future__ import annotations

from msgspec import Struct


class Assumption(Struct, frozen=True):
    """One number that was not measured: its value, the range it may lie in, its unit, and where it comes from."""

    name: str
    value: float
    low: float  # the least that can be given
    high: float  # the most
    unit: str
    about: str
    source: str


ASSUMPTIONS: tuple[Assumption, ...] = (
    Assumption("noise_figure", 8.0, 1.0, 25.0, "dB", "noise of the receiver itself", "common practice, 5 to 10 dB"),
    Assumption(
        "implementation_loss",
        5.0,
        0.0,
        12.0,
        "dB",
        "what a real detector needs beyond the formula",
        "IEEE Std 802.15.4-2006 §E.3.2.1: 5 to 6 dB for 1 % PER, where §E.4.1.8 gives 0.4 dB",
    ),
    Assumption(
        "receiver_width", 2.0, 1.0, 10.0, "MHz", "width of the receiver's filter", "IEEE Std 802.15.4-2006 §E.4.1.4"
    ),
    Assumption(
        "coordinator_power",
        8.0,
        -20.0,
        20.0,
        "dBm",
        "transmit power of the coordinator",
        "assumed; the standard demands −3 dBm",
    ),
    Assumption(
        "device_power",
        3.0,
        -20.0,
        20.0,
        "dBm",
        "transmit power of a lamp, plug or sensor",
        "assumed; the standard demands −3 dBm",
    ),
    Assumption("antenna", 0.0, -20.0, 15.0, "dBi", "antenna of each end", "assumed"),
    Assumption("frame", 60.0, 5.0, 127.0, "octets", "length of a frame (PSDU)", "assumed; 127 is the longest"),
    Assumption("unknown_busy", 0.2, 0.0, 1.0, "share", "air time of a Wi-Fi channel that tells none", "assumed"),
    Assumption(
        "usb3_rise_best",
        3.0,
        0.0,
        40.0,
        "dB",
        "noise that an active USB 3 neighbour adds, best case",
        "assumed: no published curve tells it",
    ),
    Assumption(
        "usb3_rise_worst",
        20.0,
        0.0,
        40.0,
        "dB",
        "… and worst case, right beside it",
        "second-hand: white paper 327216-001 (2012) is quoted with nearly 20 dB beside a USB 3 drive",
    ),
    Assumption(
        "spread",
        8.0,
        0.0,
        15.0,
        "dB",
        "spread of real walls and rooms about the median",
        "ITU-R P.1238, residential (from memory)",
    ),
    Assumption(
        "cca_threshold",
        -75.0,
        -100.0,
        -40.0,
        "dBm",
        "energy above which a sender takes its channel for busy",
        "IEEE Std 802.15.4-2006 §6.9.9: at most 10 dB above the sensitivity that §6.5.3.3 demands, −85 dBm",
    ),
    Assumption(
        "mask_reserve",
        0.0,
        0.0,
        30.0,
        "dB",
        "how far Wi-Fi transmitters stay below their mask beside its flat top",
        "assumed: none, so that figures there are bounds; real transmitters are usually better",
    ),
    Assumption("burst", 1500.0, 100.0, 20000.0, "µs", "how long a Wi-Fi transmission lasts", "assumed"),
    Assumption(
        "device_hears",
        0.0,
        -60.0,
        40.0,
        "dB",
        "Wi-Fi where the devices are, above or below what the coordinator hears",
        "assumed: the places of the devices are not known",
    ),
    Assumption(
        "usb3_slope",
        20.0,
        0.0,
        60.0,
        "dB",
        "how much the noise of a USB 3 neighbour falls with ten times the distance, from one wavelength (0.12 m) on",
        "assumed: free space; no published curve tells it, and nothing is known nearer than that",
    ),
    Assumption("floor", 10.0, 0.0, 40.0, "dB", "loss of one floor", "ITU-R P.1238-13 Table 5, apartment (second-hand)"),
)

BY_NAME = {one.name: one for one in ASSUMPTIONS}


def chosen(given: dict[str, float] | None = None) -> dict[str, float]:
    """Values by name, those that are given in place of ours.  Raises `ValueError` with the allowed range."""
    values = {one.name: one.value for one in ASSUMPTIONS}
    for name, value in (given or {}).items():
        values[name] = in_range(name, value)
    return values


def in_range(name: str, value: float) -> float:
    """The value, if an assumption may have it.  Raises `ValueError` with the allowed range, or the names there are."""
    if name not in BY_NAME:
        raise ValueError(f"`{name}` is no assumption; write one of {', '.join(BY_NAME)}")
    one = BY_NAME[name]
    if not one.low <= value <= one.high:
        raise ValueError(f"{name} of {value:g} {one.unit} is outside {one.low:g} to {one.high:g} {one.unit}")
    return value
