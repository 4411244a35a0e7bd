"""The records of `air.yaml`.  Field names are those of the file; units stand behind every number there.

`Meta.extra["read"]` is the function that reads a written scalar; the schema of the written
form stands beside it, so that the file's JSON Schema is made from these records.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Annotated, Literal, get_args

from msgspec import Meta, Struct, field

from radiocheck.radio.assume import ASSUMPTIONS, Assumption
from radiocheck.radio.channels import mesh_mhz, wifi_mhz
from radiocheck.radio.plan import MOST_LINKS
from radiocheck.radio.survey import MOST_NETWORKS
from radiocheck.radio.walls import MATERIALS

from . import quantity
from .quantity import Quantity

MOST_WALLS = 20  # on one way
MOST_NAMED_WALLS = 200

Device = Literal[
    "lamp", "plug", "switch", "sensor", "thermostat", "blind", "lock", "alarm", "smoke sensor", "water sensor",
    "medical sensor", "other",
]  # fmt: skip
Standard = Literal["b", "g", "n", "ax"]
# What people say for a material of ITU-R P.2040.
SPOKEN = {
    "drywall": "plasterboard",
    "gypsum": "plasterboard",
    "gypsum board": "plasterboard",
    "window": "glass",
    "timber": "wood",
    "door": "wood",
    "masonry": "brick",
    "bricks": "brick",
    "steel": "metal",
    "osb": "chipboard",
}


def _meta(kind: Quantity, description: str) -> Meta:
    return Meta(extra={"read": kind.read}, extra_json_schema={**kind.schema(), "description": description})


def mesh_channel(text: str) -> int:
    """An IEEE 802.15.4 channel.  Raises `ValueError` off the band."""
    return _channel(text, mesh_mhz)


def wifi_channel(text: str) -> int:
    """A Wi-Fi channel.  Raises `ValueError` off the band."""
    return _channel(text, wifi_mhz)


def _channel(text: str, centre: Callable[[int], float]) -> int:
    if not re.fullmatch(r"\s*[+-]?\d{1,6}\s*", text):
        first, last = (11, 26) if centre is mesh_mhz else (1, 14)
        raise ValueError(f"`{text[:60]}` is no channel number; write one from {first} to {last}")
    centre(int(text))
    return int(text)


def _material(text: str) -> str:
    return quantity.choice(text, MATERIALS, "known material", SPOKEN)


def _device(text: str) -> str:
    return quantity.choice(
        text, get_args(Device), "kind of device", {"light": "lamp", "bulb": "lamp", "outlet": "plug"}
    )


def _standard(text: str) -> str:
    plain = text.strip().lower().removeprefix("802.11")
    return quantity.choice(plain, get_args(Standard), "Wi-Fi standard of the 2.4 GHz band", {"be": "ax"})


def _width(text: str) -> float:
    width = Quantity("a channel width", "MHz", 20.0, 40.0, {}, "20 MHz").read(text)
    if width not in (20.0, 22.0, 40.0):
        raise ValueError(
            f"a width of {text.strip()} does not exist in this band; write 20 MHz, 40 MHz, or 22 MHz for b"
        )
    return width


def _floors(text: str) -> int:
    return quantity.whole(text, 0, 10, "a number of floors of")


def _share(text: str) -> float:
    return quantity.AIR_TIME.read(text) / 100.0


def _thickness(text: str) -> float:
    return quantity.THICKNESS.read(text) / 1e3


def kind_of(one: Assumption) -> Quantity:
    """How the value of an assumption is written."""
    what = f"{one.name.replace('_', ' ')}"
    if one.unit == "share":
        return Quantity(what, "%", one.low * 100, one.high * 100, {}, f"{one.value * 100:g} %")
    return Quantity(what, one.unit, one.low, one.high, {}, f"{one.value:g} {one.unit}")


def assumption(name: str, text: str) -> float:
    """The value of an assumption as it is written.  Raises `ValueError`, also for a name that is none."""
    known = {one.name: one for one in ASSUMPTIONS}
    one = known.get(name)
    if one is None:
        quantity.choice(name, known, "assumption of radiocheck")
        raise AssertionError(name)
    value = kind_of(one).read(text)
    return value / 100.0 if one.unit == "share" else value


Name = Annotated[str, Meta(extra={"read": quantity.name}, min_length=1, max_length=quantity.LONGEST_NAME)]
Ssid = Annotated[str, Meta(extra={"read": quantity.ssid}, max_length=quantity.SSID_OCTETS)]
WallName = Annotated[str, Meta(extra={"read": quantity.name}, description="a wall of `walls`, by its name")]


class Wall(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A slab of one material: what a wall, door or window is made of."""

    material: Annotated[str, Meta(extra={"read": _material}, extra_json_schema={"enum": list(MATERIALS)})]
    thickness_m: Annotated[
        float,
        Meta(
            extra={"read": _thickness},
            extra_json_schema={**quantity.THICKNESS.schema(), "description": "how thick it is"},
        ),
    ] = field(name="thickness")
    angle_deg: Annotated[float, _meta(quantity.ANGLE, "0 degrees (default) is straight through")] = field(
        name="angle", default=0.0
    )
    loss_db: Annotated[float, _meta(quantity.LOSS, "measured loss, in place of the computed one")] | None = field(
        name="loss", default=None
    )


class Network(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A Wi-Fi network as it is heard beside the adapter."""

    name: Ssid = ""
    channel: (
        Annotated[int, Meta(extra={"read": wifi_channel}, ge=1, le=14, description="number of its 20 MHz channel")]
        | None
    ) = None
    centre_mhz: Annotated[float, _meta(quantity.FREQUENCY, "in place of channel; needed for 40 MHz")] | None = field(
        name="centre", default=None
    )
    width_mhz: Annotated[
        float,
        Meta(
            extra={"read": _width},
            extra_json_schema={"type": "string", "enum": ["20 MHz", "22 MHz", "40 MHz"]},
        ),
    ] = field(name="width", default=20.0)
    level_dbm: Annotated[float, _meta(quantity.LEVEL, "received, of its whole width")] = field(name="level")
    standard: Annotated[Standard, Meta(extra={"read": _standard}, description="802.11b, g, n (default) or ax")] = "n"
    busy: (
        Annotated[
            float,
            Meta(
                extra={"read": _share},
                extra_json_schema={
                    **quantity.AIR_TIME.schema(),
                    "description": "share of time that its channel is taken, whoever sends there",
                },
            ),
        ]
        | None
    ) = None


class Noise(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How much the adapter's surroundings lift its noise floor, as measured or believed."""

    best_db: Annotated[float, _meta(quantity.RISE, "at best")] = field(name="best")
    worst_db: Annotated[float, _meta(quantity.RISE, "at worst")] = field(name="worst")


class Link(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A device that the adapter is to reach without another one between them."""

    name: Name
    device: Annotated[Device, Meta(extra={"read": _device}, description="what it is; some deserve cautions")] = "other"
    room: Name | None = None
    distance_m: Annotated[float, _meta(quantity.DISTANCE, "from the adapter, in a straight line")] = field(
        name="distance"
    )
    through: list[WallName | Wall] = []
    floors: Annotated[int, Meta(extra={"read": _floors}, ge=0, le=10, description="ceilings between them")] = 0
    power_dbm: Annotated[float, _meta(quantity.POWER, "its transmit power, if known")] | None = field(
        name="power", default=None
    )


_ASSUMED = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        one.name: {**kind_of(one).schema(), "description": f"{one.about} ({one.source})"} for one in ASSUMPTIONS
    },
}


class Site(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The radio side of a house: what radiocheck cannot see by itself.  Everything is optional."""

    site: Name | None = None
    channel: (
        Annotated[
            int, Meta(extra={"read": mesh_channel}, ge=11, le=26, description="IEEE 802.15.4 channel of the mesh")
        ]
        | None
    ) = None
    extension_m: Annotated[float, _meta(quantity.EXTENSION, "cable the adapter already is on")] | None = field(
        name="extension", default=None
    )
    noise: Noise | None = None
    survey: Annotated[list[Network], Meta(max_length=MOST_NETWORKS)] | None = None  # empty: none is heard
    walls: Annotated[dict[Name, Wall | list[Wall]], Meta(max_length=MOST_NAMED_WALLS)] = {}
    links: Annotated[list[Link], Meta(max_length=MOST_LINKS)] = []
    assume: Annotated[dict[str, float], Meta(extra={"assume": True}, extra_json_schema=_ASSUMED)] = {}
