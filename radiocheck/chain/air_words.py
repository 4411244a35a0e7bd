"""Figures and places of the air in plain words, and what has to be said beside every answer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .air_report import Ranked, Span

WHERE = {
    "own-hub": "the hub that it sits on",
    "connector": "the same socket",
    "next-port": "the neighbouring socket",
    "panel": "the same place of the machine, as firmware tells",
    "hub": "another port of the same hub",
    "controller": "the same USB controller, not beside it",
    "elsewhere": "another part of the machine",
}

DEVICES_THAT_GUARD = ("lock", "alarm", "smoke sensor", "water sensor", "medical sensor")

COST_OF_CHANGING = (
    "Changing the channel costs something: devices may have to be paired again, those that sleep may take "
    "hours to follow, and while it lasts nothing of the network can be relied on."
)
CHANNEL_26 = (
    "Channel 26 lies beside a protected band: many radios send with less power there, and some devices do not "
    "hear it at all."
)

PESSIMISTIC = (
    "It may be better than that: so far beside a network only the limit of its standard is known, and real "
    "transmitters mostly stay below it."
)

PARTLY = (
    "There may be more Wi-Fi than this machine has heard, and it hears with its own antenna; a `survey` in air.yaml "
    "takes its place."
)

# What every answer rests on besides numbers.
MODELS = [
    "Wi-Fi levels are those heard where they were measured; at a device they are different.",
    "How much of a Wi-Fi network falls into a channel is an upper bound: transmit masks are what a standard "
    "allows at most (IEEE Std 802.15.4-2006 Table E.1 for 802.11b; OFDM, HT and HE masks are second-hand, HE at "
    "40 MHz from memory). Real transmitters are mostly better: 10 MHz and more beside a loud network (20 MHz beside "
    "one of 40 MHz) the figures are pessimistic, and `mask_reserve` says by how much.",
    "What a network tells of its air time is that of its whole Wi-Fi channel, and all of it counts as if its loudest "
    "network sent it.",
    "Interference acts as white noise; bits fail independently (IEEE Std 802.15.4-2006 §E.4.1.7 and §E.4.1.8).",
    "Networks on one Wi-Fi channel take turns; those on different ones do not know of each other. What they do "
    "to a frame depends on when it meets them, not on their mean power.",
    "Retries and looks for a free channel are the default ones (IEEE Std 802.15.4-2006 Tables 85 and 86).",
    "Walls are slabs of one material (ITU-R P.2040, values as coded in sionna-rt); measured walls differ by "
    "several dB, which the spread is there for.",
]


PLACES = {
    "no-network": "none",
    "between": "{value} MHz off `{name}`",
    "inside": "inside `{name}`",
    "above-noise": "`{name}` is louder",
    "beacons": "Bluetooth LE advertises here",
    "band-edge": "band's edge",
}


def why(one: Ranked) -> str:
    """Where a channel lies among its neighbours, in a few words."""
    said, named = [], {reason.name for reason in one.reasons if reason.code in ("between", "inside")}
    for reason in one.reasons:
        if reason.code in PLACES and (reason.code != "above-noise" or reason.name not in named):
            value = reason.value or 0.0
            said.append(PLACES[reason.code].format(name=reason.name, value=f"{value:.0f}"))
    return "; ".join(said)


def of_100(share: float) -> str:
    """A share as people count: never a decimal, and never all or nothing."""
    if share >= 0.995:
        return "more than 99 of 100"
    if share < 0.005:
        return "fewer than 1 of 100"
    return f"about {share * 100:.0f} of 100"


def of_all(count: int, total: int) -> str:
    """`2 of 6`, or `all 6`."""
    return f"{count} of {total}" if count < total else f"all {total}" if total > 1 else "it"


def metres(distance: float) -> str:
    """A computed distance, with no more digits than it deserves."""
    step = 1 if distance < 10 else 5 if distance < 50 else 10
    return f"{max(round(distance / step) * step, 1)} m"


def decibels(value: float) -> str:
    """A whole number of dB, with a true minus sign and no minus zero."""
    return f"{round(value):d}".replace("-", "\N{MINUS SIGN}")


def span(best: float, worst: float, unit: str = "dB") -> str:
    """`3 to 20 dB`, or `3 dB` when both are alike."""
    low, high = sorted((round(best), round(worst)))
    return f"{decibels(low)} {unit}" if low == high else f"{decibels(low)} to {decibels(high)} {unit}"


def percents(of: Span) -> str:
    """Shares of 100 at both ends, the worse one first: `60 to 98`."""
    low, high = sorted((of.best, of.worst))
    return _end(low) if _end(low) == _end(high) else f"{_end(low)} to {_end(high)}"


def _end(share: float) -> str:
    return ">99" if share >= 0.995 else "<1" if share < 0.005 else f"{share * 100:.0f}"


def ticked(names: Iterable[str], most: int = 4) -> str:
    """Names in a row: `a`, `b` and `c`; beyond `most` only how many more."""
    listed = [f"`{name}`" for name in names]
    if len(listed) > most:
        listed = [*listed[: most - 1], f"{len(listed) - most + 1} more"]
    return " and ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)


def cautions(kinds: Sequence[tuple[str, str]], changes_channel: bool) -> list[str]:
    """What has to be minded; `kinds` are the devices of the links with their kind (lamp, lock …)."""
    guards = [name for name, kind in kinds if kind in DEVICES_THAT_GUARD]
    said = [
        "Local rules on transmit power and on the band come first. Nothing here is legal advice; ask the "
        "authority before you raise a power or use another antenna.",
        "What guards people must not hang on this network alone while it changes: locks, alarms, smoke, water "
        "and medical sensors may be deaf for minutes to hours."
        + (f" Here that is {ticked(guards)}: have another way ready before you change anything." if guards else ""),
    ]
    if changes_channel:
        said += [COST_OF_CHANGING, CHANNEL_26]
    return [
        *said,
        "A plug or lamp that is wired to the mains and is to carry the network further is installed by a "
        "qualified person where the law says so.",
        "Put no metal box around a mains adapter or a radio stick: it gets warm, and it hears nothing inside.",
        "Use a safe ladder, or none: a better place for an antenna is not worth a fall.",
    ]
