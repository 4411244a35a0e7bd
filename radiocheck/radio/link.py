"""One link between coordinator and device: the budget term by term, both directions.

Received level: transmit power, both antennas, path loss, walls, floors.  The floor: thermal
noise, noise figure, and what the computer beside the coordinator adds, which only the
coordinator hears; Wi-Fi comes on top while it is on.  Shadowing makes a probability of the
margin, and an average of what is lost and delivered.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from msgspec import Struct

from .ber import one_percent_db
from .exchange import End, Exchange, exchange
from .fading import cells, chance
from .mac import ACK_OCTETS, TURNAROUND_US, access_failure
from .noise import receiver_floor_dbm
from .path import EXPONENTS, MOST_FLOORS, annex_db, free_space_db, indoor_db
from .reception import Burst, Ear, busy_share, ear, loudest_floor_dbm
from .walls import THICKEST_M, slab_db

MODELS = ("walls", "annex", *EXPONENTS)
MOST_WALLS = 50
MOST_WALL_DB = 200.0


class Slab(Struct, frozen=True):
    """A wall on the way: material, thickness and the angle from straight through."""

    material: str
    thickness_m: float
    angle_deg: float = 0.0
    loss_db: float | None = None  # measured, in place of the computed one


class Term(Struct, frozen=True):
    """One line of a budget; gains are positive.  Kinds: transmit, antennas, path, wall, floors."""

    name: str
    db: float
    kind: str = ""


class Direction(Struct, frozen=True):
    """A link one way.  All but `while_on_db` and the errors are of quiet air, between Wi-Fi transmissions."""

    terms: tuple[Term, ...]  # from the transmit power (dBm) to the received level; they add up
    level_dbm: float
    floor_dbm: float
    sinr_db: float
    margin_db: float  # above the 1 % point, implementation loss taken off
    frame_errors: float  # at the median, averaged over Wi-Fi's air time
    mean_errors: float  # … and over the spread
    chance: float  # probability that the margin is above 0
    while_on_db: float | None = None  # margin while the loudest network in the channel is on; None without any
    busy: float = 0.0  # share of time in which the sender finds the channel taken


class Link(Struct, frozen=True):
    """A link both ways; delivered counts acknowledged frames after retries, averaged over the spread."""

    name: str
    distance_m: float
    to_device: Direction
    to_coordinator: Direction
    delivered_to_device: float
    delivered_to_coordinator: float
    other_models: tuple[Term, ...] = ()  # the whole path by models that know no walls, to compare; negative dB


class Radio(Struct, frozen=True):
    """What is assumed of the radios and the air, see `assume.py` for units."""

    coordinator_power: float
    device_power: float
    antenna: float
    noise_figure: float
    implementation_loss: float
    receiver_width: float
    frame: float
    spread: float
    floor: float
    burst: float
    cca_threshold: float
    freq_mhz: float
    rise_db: float = 0.0  # noise that the coordinator alone hears
    at_coordinator: tuple[Burst, ...] = ()  # Wi-Fi in the channel where the coordinator is
    at_device: tuple[Burst, ...] = ()


class Air(Struct, frozen=True):
    """Both ends in the air of a plan: the same for all of its links."""

    radio: Radio
    curve: Exchange
    coordinator: Ear
    device: Ear
    coordinator_busy: float
    device_busy: float


def air(radio: Radio) -> Air:
    """Both ends with their noise, Wi-Fi and channel access."""
    coordinator, coordinator_busy = _end(radio, radio.coordinator_power, radio.rise_db, radio.at_coordinator)
    device, device_busy = _end(radio, radio.device_power, 0.0, radio.at_device)
    curve = exchange(coordinator, device)
    return Air(radio, curve, coordinator.frames, device.frames, coordinator_busy, device_busy)


def _end(radio: Radio, power_dbm: float, rise: float, met: Sequence[Burst]) -> tuple[End, float]:
    """One end, and the share of time in which it finds the channel taken."""
    loss = radio.implementation_loss
    noise = receiver_floor_dbm(radio.noise_figure, rise, radio.receiver_width)
    frames = ear(noise, met, int(radio.frame), loss, radio.burst)
    acks = ear(noise, met, ACK_OCTETS, loss, radio.burst, TURNAROUND_US)
    busy = busy_share(met, noise, radio.cca_threshold)
    return End(power_dbm + 2 * radio.antenna, frames, acks, access_failure(busy)), busy


def losses(distance_m: float, walls: Sequence[Slab], floors: int, radio: Radio, model: str = "walls") -> list[Term]:
    """What is lost on the way, term by term, as negative gains in dB.

    `model`: `walls` (free space, and each wall as given), `annex` (two slopes) or a site of ITU-R
    P.1238; the latter have walls in them already.  Raises `ValueError` for what cannot be.
    """
    if model not in MODELS:
        raise ValueError(f"`{model}` is no model of path loss; write one of {', '.join(MODELS)}")
    if not 0 <= floors <= MOST_FLOORS:
        raise ValueError(f"{floors} floors are outside 0 to {MOST_FLOORS}")
    if len(walls) > MOST_WALLS:
        raise ValueError(f"{len(walls)} walls are more than {MOST_WALLS}")
    if model != "walls":
        if walls:
            raise ValueError(f"the model `{model}` has walls in it already; leave them out, or write `walls`")
        on_floors = [] if model != "annex" or not floors else [Term(_floors(floors), -radio.floor * floors, "floors")]
        whole = annex_db(distance_m) if model == "annex" else indoor_db(distance_m, radio.freq_mhz, model, floors)
        return [Term(f"{distance_m:g} m, {model}", -whole, "path"), *on_floors]
    terms = [Term(f"{distance_m:g} m of air", -free_space_db(distance_m, radio.freq_mhz), "path")]
    terms += [
        Term(f"{wall.thickness_m * 1e3:g} mm of {wall.material}", -_wall_db(wall, radio), "wall") for wall in walls
    ]
    thickness = math.fsum(wall.thickness_m for wall in walls)
    if thickness >= distance_m:
        raise ValueError(f"walls of {thickness:g} m do not fit into {distance_m:g} m")
    if floors:
        terms.append(Term(_floors(floors), -radio.floor * floors, "floors"))
    return terms


def _floors(floors: int) -> str:
    return "a floor" if floors == 1 else f"{floors} floors"


def _wall_db(wall: Slab, radio: Radio) -> float:
    if wall.loss_db is None:
        return slab_db(wall.material, wall.thickness_m, radio.freq_mhz, wall.angle_deg)
    if not 0.0 <= wall.loss_db <= MOST_WALL_DB:
        raise ValueError(f"a wall's loss of {wall.loss_db:g} dB is outside 0 to {MOST_WALL_DB:g} dB")
    if not 0.0 <= wall.thickness_m <= THICKEST_M:
        raise ValueError(f"a wall of {wall.thickness_m:g} m is outside 0 m to {THICKEST_M:g} m")
    return wall.loss_db


def link(name: str, distance_m: float, walls: Sequence[Slab], floors: int, around: Air, model: str = "walls") -> Link:
    """The budget of one link.  Raises `ValueError` for distances, walls and floors that cannot be."""
    radio, curve = around.radio, around.curve
    way = losses(distance_m, walls, floors, radio, model)
    loss = -math.fsum(term.db for term in way)
    median = curve.outcome(loss)
    down_errors = up_errors = down = up = 0.0
    for at, share in cells(loss, radio.spread, curve.low_db, curve.high_db):
        one = curve.outcome(at)
        down_errors += share * one.down_errors
        up_errors += share * one.up_errors
        down += share * one.delivered_down
        up += share * one.delivered_up
    to_device = (radio.coordinator_power, around.device, around.coordinator_busy, median.down_errors, down_errors)
    to_coordinator = (radio.device_power, around.coordinator, around.device_busy, median.up_errors, up_errors)
    others = [Term("annex", -annex_db(distance_m) - radio.floor * floors, "path")]
    others += [Term(site, -indoor_db(distance_m, radio.freq_mhz, site, floors), "path") for site in EXPONENTS]
    return Link(
        name=name,
        distance_m=distance_m,
        to_device=_direction("coordinator transmits", *to_device, way, radio),
        to_coordinator=_direction("device transmits", *to_coordinator, way, radio),
        delivered_to_device=min(down, 1.0),
        delivered_to_coordinator=min(up, 1.0),
        other_models=tuple(others),
    )


def _direction(
    name: str, power_dbm: float, to: Ear, busy: float, errors: float, mean: float, way: Sequence[Term], radio: Radio
) -> Direction:
    terms = (Term(name, power_dbm, "transmit"), Term("both antennas", 2 * radio.antenna, "antennas"), *way)
    level = math.fsum(term.db for term in terms)
    needed = to.implementation_loss_db + one_percent_db(to.octets)
    margin = level - to.noise_dbm - needed
    return Direction(
        terms=terms,
        level_dbm=level,
        floor_dbm=to.noise_dbm,
        sinr_db=level - to.noise_dbm,
        margin_db=margin,
        frame_errors=errors,
        mean_errors=min(mean, 1.0),
        chance=chance(margin, radio.spread),
        while_on_db=level - loudest_floor_dbm(to) - needed if to.loud else None,
        busy=busy,
    )
