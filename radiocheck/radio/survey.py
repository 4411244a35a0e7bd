"""Wi-Fi networks against the sixteen IEEE 802.15.4 channels.

A network's power in the receiver is its level less what the mask keeps out.  Networks on
one Wi-Fi channel take turns, so that the loudest stands for all of them.  What a network tells
of its air time is that of its whole channel, whoever sends there; where they differ, the most
counts, and all of it as if the loudest sent it.  Those on different Wi-Fi channels are taken as
independent.  The mean error weighs each channel with its air time; the worst case has all Wi-Fi
channels on at once, their powers added.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Protocol, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from .ber import air_time_us, frame_error_rate, one_percent_db
from .channels import MESH, mesh_mhz
from .mac import access_failure, delivered, hit_chance
from .masks import MASKS, share_db
from .reasons import Reason, of_figures, of_networks, of_place
from .reception import Burst, busy_share, ear, frame_errors
from .units import power_sum

LOWEST_DBM, HIGHEST_DBM = -110.0, 0.0
MOST_NETWORKS = 1000
TOLD = 3  # networks that are listed for each channel
AS_GOOD = 0.005  # of frames that arrive, and of attempts that fail: closer than that two channels are alike


class Network(Struct, frozen=True):
    """One Wi-Fi transmitter as heard where the coordinator is."""

    name: str
    centre_mhz: float
    level_dbm: float  # of its whole width
    mask: str = "ht20"  # a name of MASKS
    busy: float | None = None  # share of time, 0 to 1, in which its Wi-Fi channel is taken; None: not told


class Interference(Struct, frozen=True):
    """What one network does to one channel."""

    name: str
    offset_mhz: float  # the channel's centre less the network's
    in_channel_dbm: float  # an upper bound, since masks are
    beside: bool  # the receiver lies wholly beside the network's flat top, so that this is its mask's limit
    busy: float  # share of time in which its Wi-Fi channel is taken, by it or by others there
    hits: float  # probability that a frame meets it on the air
    frame_errors: float  # of a frame that meets it


class Channel(Struct, frozen=True):
    """One IEEE 802.15.4 channel under all networks, for the wanted signal as the coordinator receives it."""

    channel: int
    centre_mhz: float
    interference_dbm: float | None  # the loudest of each Wi-Fi channel, all on at once; None without any
    sinr_db: float  # … for the wanted level
    margin_db: float  # sinr_db above the 1 % point, implementation loss taken off
    frame_errors: float  # mean over air time, before retries
    worst_errors: float  # all on at once
    busy: float  # share of time in which the coordinator finds the channel taken
    delivered: float  # a device's frames with retries, mean; acknowledgements taken as heard
    loudest: tuple[Interference, ...]  # at most three, loudest first, one for each Wi-Fi channel
    reasons: tuple[Reason, ...] = ()  # for its rank, most telling first


class Listening(Struct, frozen=True):
    """What a survey is judged with; assumptions have their units in `assume.py`."""

    wanted_dbm: float
    noise_dbm: float  # floor of the coordinator's receiver
    device_noise_dbm: float  # … and of a device's
    octets: int
    implementation_loss_db: float
    width_mhz: float
    reserve_db: float  # below the masks
    burst_us: float
    threshold_dbm: float
    device_hears_db: float  # Wi-Fi at the devices, relative to the coordinator


def network_checked(network: Network) -> Network:
    """The network, if its numbers can be.  Raises `ValueError` with the allowed range."""
    if network.mask not in MASKS:
        raise ValueError(f"`{network.mask}` is no transmit mask; write one of {', '.join(MASKS)}")
    if not 2400.0 <= network.centre_mhz <= 2500.0:
        raise ValueError(f"a centre of {network.centre_mhz:g} MHz is outside the band, 2400 to 2500 MHz")
    if not LOWEST_DBM <= network.level_dbm <= HIGHEST_DBM:
        raise ValueError(f"a level of {network.level_dbm:g} dBm is outside {LOWEST_DBM:g} to {HIGHEST_DBM:g} dBm")
    if network.busy is not None and not 0.0 <= network.busy <= 1.0:
        raise ValueError(f"an air time share of {network.busy:g} is outside 0 to 1")
    return network


def speakers(networks: Sequence[Network], unknown_busy: float) -> list[Network]:
    """The loudest network of each Wi-Fi channel and mask, with how busy that channel is; loudest first.

    A channel is as busy as the busiest of its networks (the BSS load element tells of the whole
    channel, not of its sender alone); one that does not tell counts with `unknown_busy`.  So a
    further network never makes anything better.
    """
    busy: dict[float, float] = {}
    loudest: dict[tuple[float, str], Network] = {}
    for one in networks:
        busy[one.centre_mhz] = max(busy.get(one.centre_mhz, 0.0), unknown_busy if one.busy is None else one.busy)
        key = (one.centre_mhz, one.mask)
        if key not in loudest or one.level_dbm > loudest[key].level_dbm:
            loudest[key] = one
    found = (replace(one, busy=busy[one.centre_mhz]) for one in loudest.values())
    return sorted(found, key=lambda one: (-one.level_dbm, one.centre_mhz, one.mask))


@lru_cache(maxsize=4096)
def _share_db(mask: str, offset_mhz: float, width_mhz: float) -> float:
    return share_db(MASKS[mask], offset_mhz, width_mhz)


def in_channel_dbm(network: Network, channel: int, width_mhz: float, reserve_db: float = 0.0) -> float:
    """Power of a network in the receiver's filter on a channel, in dBm: an upper bound, since masks are.

    `reserve_db`: how far the transmitter stays below its mask, where the filter lies wholly beside the flat top.
    """
    offset = mesh_mhz(channel) - network.centre_mhz
    off = reserve_db if is_beside(network, channel, width_mhz) else 0.0
    return network.level_dbm + _share_db(network.mask, offset, width_mhz) - off


def is_beside(network: Network, channel: int, width_mhz: float) -> bool:
    """Whether the receiver's filter lies wholly beside the flat top: 10 MHz off a network of 20 MHz, and more.

    There its power is only known as the limit that the mask sets.
    """
    return abs(mesh_mhz(channel) - network.centre_mhz) - width_mhz / 2 >= MASKS[network.mask].top_mhz / 2


def talking(
    speaking: Sequence[Network], channel: int, width_mhz: float, reserve_db: float = 0.0
) -> list[tuple[Network, float]]:
    """The loudest of each Wi-Fi channel with its power in a channel's filter in dBm, loudest first."""
    found: dict[float, tuple[Network, float]] = {}
    for one in speaking:
        level = in_channel_dbm(one, channel, width_mhz, reserve_db)
        if one.centre_mhz not in found or level > found[one.centre_mhz][1]:
            found[one.centre_mhz] = (one, level)
    return sorted(found.values(), key=lambda pair: -pair[1])


def bursts(parts: Sequence[tuple[Network, float]], louder_db: float = 0.0) -> list[Burst]:
    """What `talking` found, as a receiver has it that hears all by `louder_db` more."""
    return [Burst(level + louder_db, network.busy or 0.0) for network, level in parts]


def channel_report(channel: int, speaking: Sequence[Network], given: Listening) -> Channel:
    """One channel under the networks of `speakers`."""
    parts = talking(speaking, channel, given.width_mhz, given.reserve_db)
    octets, loss = given.octets, given.implementation_loss_db
    met = bursts(parts)
    at_device = bursts(parts, given.device_hears_db)
    here = ear(given.noise_dbm, met, octets, loss, given.burst_us)
    together = power_sum(level for _, level in parts)
    sinr = given.wanted_dbm - power_sum((given.noise_dbm, together))
    errors = frame_errors(here, given.wanted_dbm)
    refused = access_failure(busy_share(at_device, given.device_noise_dbm, given.threshold_dbm))
    busy = busy_share(met, given.noise_dbm, given.threshold_dbm)
    lacking = loss + one_percent_db(octets) - (given.wanted_dbm - given.noise_dbm)
    offsets = [(mesh_mhz(channel) - one.centre_mhz, MASKS[one.mask].top_mhz / 2, one.name) for one, _ in parts]
    loudest, loudest_dbm = (parts[0][0].name, parts[0][1]) if parts else ("", None)
    return Channel(
        channel=channel,
        centre_mhz=mesh_mhz(channel),
        interference_dbm=together if parts else None,
        sinr_db=sinr,
        margin_db=sinr - loss - one_percent_db(octets),
        frame_errors=errors,
        worst_errors=frame_error_rate(sinr, octets, loss),
        busy=busy,
        delivered=delivered(1.0 - errors, refused),
        loudest=tuple(_interference(one, level, channel, given) for one, level in parts[:TOLD]),
        reasons=(
            *of_figures(busy, errors, lacking),
            *of_networks(offsets, loudest_dbm, loudest, given.noise_dbm),
            *of_place(channel),
        ),
    )


def _interference(network: Network, level_dbm: float, channel: int, given: Listening) -> Interference:
    busy = network.busy or 0.0
    sinr = given.wanted_dbm - power_sum((given.noise_dbm, level_dbm))
    return Interference(
        name=network.name,
        offset_mhz=mesh_mhz(channel) - network.centre_mhz,
        in_channel_dbm=level_dbm,
        beside=is_beside(network, channel, given.width_mhz),
        busy=busy,
        hits=hit_chance(busy, air_time_us(given.octets), given.burst_us),
        frame_errors=frame_error_rate(sinr, given.octets, given.implementation_loss_db),
    )


def ranked(channels: Sequence[Channel]) -> list[Channel]:
    """Best first: by what is delivered, then by margin, then by number."""
    return sorted(channels, key=lambda one: (-round(one.delivered, 4), -round(one.margin_db, 1), one.channel))


class Judged(Protocol):
    """A channel with what it delivers, here or as a row of a report."""

    @property
    def channel(self) -> int: ...

    @property
    def frame_errors(self) -> float: ...

    @property
    def delivered(self) -> float: ...


AnyChannel = TypeVar("AnyChannel", bound=Judged)


def recommended(order: Sequence[AnyChannel]) -> AnyChannel:
    """The first of a ranking, but another than 26 when that is as good: not every device hears 26."""
    best = order[0]
    if best.channel != 26:
        return best
    return next(
        (
            one
            for one in order[1:]
            if one.delivered > best.delivered - AS_GOOD and one.frame_errors < best.frame_errors + AS_GOOD
        ),
        best,
    )


def all_channels(speaking: Sequence[Network], given: Listening) -> list[Channel]:
    """All sixteen channels, in order, under the networks of `speakers`."""
    return [channel_report(channel, speaking, given) for channel in MESH]
