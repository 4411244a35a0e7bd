"""A whole plan: sixteen channels, all networks, all links; and the same with something changed.

Best and worst differ in the noise that the coordinator's neighbours add.  The channels are
judged for the weakest device that the receiver's own noise leaves within reach, since a stronger
one suffers less and a weaker one is helped by no channel.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from .assume import chosen, in_range
from .ber import one_percent_db
from .channels import mesh_mhz, wifi_mhz
from .link import Air, Link, Radio, Slab, air, link
from .noise import receiver_floor_dbm
from .survey import MOST_NETWORKS, Channel, Listening, Network, all_channels, bursts, network_checked, speakers, talking
from .units import decibels, ratio, wavelength_m

WANTED_ABOVE_DB = 10.0  # IEEE Std 802.15.4-2006 §E.4.3: the wanted signal is 10 dB above the required sensitivity
REQUIRED_SENSITIVITY_DBM = -85.0  # §6.5.3.3
MOST_LINKS = 500
MOST_RISE_DB = 60.0
MIDDLE_MHZ = 2440.0  # where links are computed when the channel is not known: the band's losses differ by 0.3 dB


class LinkPlan(Struct, frozen=True):
    """A device to be reached."""

    name: str
    distance_m: float
    walls: tuple[Slab, ...] = ()
    floors: int = 0
    model: str = "walls"  # of path loss, see `link.losses`
    power_dbm: float | None = None  # its own transmit power; None: `device_power`


class Plan(Struct, frozen=True):
    """All that goes into a computation."""

    channel: int | None  # None: not known
    networks: tuple[Network, ...] | None  # None: no survey
    links: tuple[LinkPlan, ...] = ()
    rise_best_db: float = 0.0  # noise that the coordinator's neighbours add, as a rise of its floor
    rise_worst_db: float = 0.0
    given: Mapping[str, float] = {}  # assumptions in place of ours


class Result(Struct, frozen=True):
    """All that comes out; every number is finite.  Lists are empty where the input was not known."""

    channel: int | None
    assumptions: Mapping[str, float]
    floor_best_dbm: float  # of the coordinator's receiver
    floor_worst_dbm: float
    wanted_dbm: float  # that the channels are judged for
    channels: tuple[Channel, ...]  # in order of their numbers, with the best noise
    links_best: tuple[Link, ...]
    links_worst: tuple[Link, ...]
    channels_worst: tuple[Channel, ...] = ()
    wanted_from: str | None = None  # name of the link that `wanted_dbm` is of; None: 10 dB above the standard's demand
    busy_known: bool = False  # whether any network told its air time


def compute(plan: Plan) -> Result:
    """The plan computed.  Raises `ValueError` for numbers that cannot be, with the allowed range."""
    values = chosen(dict(plan.given))
    networks = _checked(plan)
    speaking = speakers(networks, values["unknown_busy"])
    rises = (plan.rise_best_db, plan.rise_worst_db)
    floors = [receiver_floor_dbm(values["noise_figure"], rise, values["receiver_width"]) for rise in (*rises, 0.0)]
    radios = [_radio(values, plan.channel, speaking, rise) for rise in rises]
    best, worst = (_links(plan.links, radio) for radio in radios)
    weakest = _weakest(best, radios[0], floors[2])
    wanted = REQUIRED_SENSITIVITY_DBM + WANTED_ABOVE_DB if weakest is None else weakest.to_coordinator.level_dbm
    judged = []
    for noise in floors[:2]:
        listening = Listening(
            wanted_dbm=wanted,
            noise_dbm=noise,
            device_noise_dbm=floors[2],
            octets=int(values["frame"]),
            implementation_loss_db=values["implementation_loss"],
            width_mhz=values["receiver_width"],
            reserve_db=values["mask_reserve"],
            burst_us=values["burst"],
            threshold_dbm=values["cca_threshold"],
            device_hears_db=values["device_hears"],
        )
        judged.append(tuple(all_channels(speaking, listening)) if plan.networks is not None else ())
    return Result(
        channel=plan.channel,
        assumptions=values,
        floor_best_dbm=floors[0],
        floor_worst_dbm=floors[1],
        wanted_dbm=wanted,
        channels=judged[0],
        links_best=best,
        links_worst=worst,
        channels_worst=judged[1],
        wanted_from=None if weakest is None else weakest.name,
        busy_known=any(one.busy is not None for one in networks),
    )


def _checked(plan: Plan) -> list[Network]:
    """The plan's networks, if all of its numbers can be."""
    networks = plan.networks or ()
    if len(networks) > MOST_NETWORKS:
        raise ValueError(f"a survey of {len(networks)} networks is larger than {MOST_NETWORKS}")
    if len(plan.links) > MOST_LINKS:
        raise ValueError(f"{len(plan.links)} links are more than {MOST_LINKS}")
    if plan.channel is not None:
        mesh_mhz(plan.channel)
    for rise in (plan.rise_best_db, plan.rise_worst_db):
        if not 0.0 <= rise <= MOST_RISE_DB:
            raise ValueError(f"a rise of the noise by {rise:g} dB is outside 0 to {MOST_RISE_DB:g} dB")
    if plan.rise_best_db > plan.rise_worst_db:
        raise ValueError(
            f"a rise of {plan.rise_best_db:g} dB at best is above the {plan.rise_worst_db:g} dB at worst; exchange them"
        )
    return [network_checked(one) for one in networks]


def _links(links: Sequence[LinkPlan], radio: Radio) -> tuple[Link, ...]:
    """All links; those of devices of one power share their curve."""
    around: dict[float, Air] = {}
    found = []
    for one in links:
        power = radio.device_power if one.power_dbm is None else one.power_dbm
        if power not in around:
            around[power] = air(replace(radio, device_power=in_range("device_power", power)))
        found.append(link(one.name, one.distance_m, one.walls, one.floors, around[power], one.model))
    return tuple(found)


def _weakest(links: Sequence[Link], radio: Radio, noise_dbm: float) -> Link | None:
    """The link with the lowest level at the coordinator of those whose median is enough for a noise floor."""
    needed = noise_dbm + radio.implementation_loss + one_percent_db(int(radio.frame))
    within = [one for one in links if one.to_coordinator.level_dbm >= needed]
    return min(within, key=lambda one: one.to_coordinator.level_dbm, default=None)


def _radio(values: Mapping[str, float], channel: int | None, speaking: Sequence[Network], rise: float) -> Radio:
    """Radios and air of a plan; without a channel the links have no Wi-Fi in them."""
    own = Radio(
        coordinator_power=values["coordinator_power"],
        device_power=values["device_power"],
        antenna=values["antenna"],
        noise_figure=values["noise_figure"],
        implementation_loss=values["implementation_loss"],
        receiver_width=values["receiver_width"],
        frame=values["frame"],
        spread=values["spread"],
        floor=values["floor"],
        burst=values["burst"],
        cca_threshold=values["cca_threshold"],
        freq_mhz=MIDDLE_MHZ,
        rise_db=rise,
    )
    if channel is None:
        return own
    parts = talking(speaking, channel, values["receiver_width"], values["mask_reserve"])
    return replace(
        own,
        freq_mhz=mesh_mhz(channel),
        at_coordinator=tuple(bursts(parts)),
        at_device=tuple(bursts(parts, values["device_hears"])),
    )


def on_channel(plan: Plan, channel: int) -> Plan:
    """The plan on another channel."""
    mesh_mhz(channel)
    return replace(plan, channel=channel)


def with_noise(plan: Plan, more_db: float) -> Plan:
    """The plan with the coordinator's noise floor raised (or lowered) by some dB; it never falls below its own."""
    if not -40.0 <= more_db <= 60.0:
        raise ValueError(f"a noise change of {more_db:g} dB is outside -40 to 60 dB")
    best, worst = (min(max(rise + more_db, 0.0), MOST_RISE_DB) for rise in (plan.rise_best_db, plan.rise_worst_db))
    return replace(plan, rise_best_db=best, rise_worst_db=worst)


def with_extension(plan: Plan, length_m: float, freq_mhz: float = MIDDLE_MHZ) -> Plan:
    """The plan with the adapter moved away by a cable: the neighbour's noise falls with distance.

    An assumption, since no published curve exists: the adapter is now within a wavelength
    (0.12 m) of the neighbour, where nothing is known, and moves away by the whole length.
    Nothing is taken off within a wavelength; beyond it `usb3_slope` (20 dB for ten times the
    distance, as in free space).  Other terms stay: the links keep their lengths.
    """
    if not 0.0 < length_m <= 5.0:
        raise ValueError(f"an extension of {length_m:g} m is outside 0 m to 5 m, the most that a USB 2 cable may be")
    off = chosen(dict(plan.given))["usb3_slope"] * math.log10(max(length_m / wavelength_m(freq_mhz), 1.0))
    return replace(plan, rise_best_db=_less(plan.rise_best_db, off), rise_worst_db=_less(plan.rise_worst_db, off))


def _less(rise: float, off_db: float) -> float:
    """The rise of a floor when the power that lifts it falls by `off_db`."""
    return decibels(1.0 + (ratio(rise) - 1.0) * ratio(-off_db))


def with_wifi_on(plan: Plan, channel: int, name: str | None = None) -> Plan:
    """The plan with the loudest network (or the loudest of the name given) moved to another Wi-Fi channel.

    One of 40 MHz takes `channel` as its first half; the second lies above up to channel 6, below
    from 7 on (an assumption: a router may choose otherwise).
    """
    centre = wifi_mhz(channel)
    if not plan.networks:
        raise ValueError("there is no Wi-Fi network in the survey that could be moved")
    mine = [one for one in plan.networks if name is None or one.name == name]
    if not mine:
        raise ValueError(f"no network is called `{name}` in the survey")
    moved = max(mine, key=lambda one: one.level_dbm)
    if channel == 14 and moved.mask != "dsss":
        raise ValueError("Wi-Fi channel 14 is for DSSS alone; write one from 1 to 13")
    if moved.mask.endswith("40"):
        centre += 10.0 if channel <= 6 else -10.0
    return replace(
        plan, networks=tuple(replace(one, centre_mhz=centre) if one is moved else one for one in plan.networks)
    )
