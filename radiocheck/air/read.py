"""`air.yaml` as a record: every complaint has its place and says what to write instead."""

from __future__ import annotations

import difflib
import types
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

from msgspec import NODEFAULT, Meta, Struct, structs

from radiocheck.yaml_file import FileError, Spot, parse

from .site import MOST_WALLS, Link, Network, Noise, Site, Wall, assumption

LIMIT = 1 << 20  # bytes; a thousand networks take a tenth of it
MOST_TOLD = 20  # complaints about one file


def read(data: bytes, file: str) -> Site:
    """The site that these bytes describe; complaints call them `file`.

    Raises `FileError`: `file:line:column: what, and what to write instead`, a line each.
    """
    spot = parse(data, Path(file), LIMIT, as_written=True)
    complaints: list[str] = []
    site = _value(spot, Site, "air.yaml", complaints)
    if not complaints:
        _check(site, spot, complaints)
    if complaints:
        complaints.sort(key=lambda one: [int(part) for part in one.removeprefix(f"{spot.file}:").split(":")[:2]])
        more = len(complaints) - MOST_TOLD
        raise FileError("\n".join(complaints[:MOST_TOLD] + ([f"{file}: and {more} more"] if more > 0 else [])))
    assert isinstance(site, Site)
    return site


def _value(spot: Spot, kind: Any, what: str, complaints: list[str]) -> Any:
    """The value of one place as its field's type asks for it; `what` names it in complaints."""
    kind, metas = _without_null(kind), []
    while get_origin(kind) is Annotated:
        kind, *added = get_args(kind)
        metas += [one for one in added if isinstance(one, Meta)]
    reads = next((one.extra["read"] for one in metas if one.extra and "read" in one.extra), None)
    if reads is not None:
        return _scalar(spot, reads, what, complaints)
    most = next((one.max_length for one in metas if one.max_length is not None), None)
    if most is not None and isinstance(spot.value, list | dict) and len(spot.value) > most:
        complaints.append(spot.complain(f"`{what}` has {len(spot.value)} entries; write at most {most}"))
        return None
    if get_origin(kind) in (Union, types.UnionType):
        return _value(spot, _fitting(spot, get_args(kind)), what, complaints)
    if get_origin(kind) is list:
        if not isinstance(spot.value, list):
            complaints.append(spot.complain(f"`{what}` must be a list; begin each entry with `- `"))
            return None
        return [_value(item, get_args(kind)[0], f"an entry of {what}", complaints) for item in spot.value]
    if get_origin(kind) is dict:
        return _mapping(spot, kind, what, any(one.extra and "assume" in one.extra for one in metas), complaints)
    assert issubclass(kind, Struct)
    return _record(spot, kind, what, complaints)


def _without_null(kind: Any) -> Any:
    """The type without `None`: what is written is there."""
    if get_origin(kind) in (Union, types.UnionType):
        left = [one for one in get_args(kind) if one is not type(None)]
        return left[0] if len(left) == 1 else Union[tuple(left)]  # noqa: UP007  # made of a list
    return kind


def _fitting(spot: Spot, kinds: Iterable[Any]) -> Any:
    """Of several types the one that what is written looks like."""
    looks: dict[str, Any] = {}
    for kind in kinds:
        base = get_args(kind)[0] if get_origin(kind) is Annotated else kind
        looks["list" if get_origin(base) is list else "text" if base is str else "mapping"] = kind
    asked = "mapping" if isinstance(spot.value, dict) else "list" if isinstance(spot.value, list) else "text"
    return looks.get(asked, looks["mapping"])


def _scalar(spot: Spot, reads: Any, what: str, complaints: list[str]) -> Any:
    if not isinstance(spot.value, str):
        written = "nothing" if spot.value is None else "a list" if isinstance(spot.value, list) else "a mapping"
        complaints.append(spot.complain(f"`{what}` has {written}; write one value behind it"))
        return None
    try:
        return reads(spot.value)
    except ValueError as error:
        complaints.append(spot.complain(str(error)))
        return None


def _mapping(spot: Spot, kind: Any, what: str, assumed: bool, complaints: list[str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if not isinstance(spot.value, dict):
        complaints.append(spot.complain(f"`{what}` must be a mapping; write `name: …` lines"))
        return found
    keys, values = get_args(kind)
    for name, item in spot.value.items():
        if assumed:
            found[name] = _scalar(item, lambda text, name=name: assumption(name, text), name, complaints)
        else:
            known = _value(Spot(name, item.file, item.line, item.column), keys, name, complaints)
            found[known or name] = _value(item, values, name, complaints)
    return found


def _record(spot: Spot, kind: type[Struct], what: str, complaints: list[str]) -> Any:
    fields = {one.encode_name: one for one in structs.fields(kind)}
    if not isinstance(spot.value, dict):
        complaints.append(spot.complain(f"{what} must be a mapping with {', '.join(fields)}"))
        return None
    before = len(complaints)
    hints = get_type_hints(kind, include_extras=True)
    for key, item in spot.value.items():
        if key not in fields:
            near = difflib.get_close_matches(key, fields, 1)
            advice = f"write `{near[0]}`" if near else f"write one of {', '.join(fields)}"
            complaints.append(item.complain(f"{what} has no field `{key[:60]}`; {advice}"))
    values = {
        one.name: _value(spot.value[name], hints[one.name], name, complaints)
        for name, one in fields.items()
        if name in spot.value
    }
    for name, one in fields.items():
        if name not in spot.value and one.default is NODEFAULT and one.default_factory is NODEFAULT:
            complaints.append(spot.complain(f"{what} has no `{name}`; write one"))
    return kind(**values) if len(complaints) == before else None


def _check(site: Site, spot: Spot, complaints: list[str]) -> None:
    """What fits each field and still cannot be."""
    if site.noise is not None:
        _check_noise(site.noise, spot.value["noise"], complaints)
    for place, network in enumerate(site.survey or ()):
        _check_network(network, spot.value["survey"].value[place], complaints)
    for place, link in enumerate(site.links):
        _check_link(link, site, spot.value["links"].value[place], complaints)


def _check_noise(noise: Noise, spot: Spot, complaints: list[str]) -> None:
    if noise.best_db > noise.worst_db:
        best, worst = f"{noise.best_db:g} dB", f"{noise.worst_db:g} dB"
        said = f"a noise rise of {best} at best is above the {worst} at worst"
        complaints.append(spot.complain(f"{said}; write `best: {worst}` and `worst: {best}`"))


def _check_network(network: Network, spot: Spot, complaints: list[str]) -> None:
    if network.centre_mhz is None and network.width_mhz == 40.0:
        complaints.append(
            spot.complain(
                "a network of 40 MHz has its centre between two channels; write `centre: 2422 MHz` or where it is"
            )
        )
    elif (network.centre_mhz is None) == (network.channel is None):
        written = "both `channel` and `centre`" if network.channel else "neither `channel` nor `centre`"
        complaints.append(spot.complain(f"a network has {written}; write one of them"))
    if network.width_mhz == 22.0 and network.standard != "b":
        complaints.append(spot.complain("only 802.11b is 22 MHz wide; write `width: 20 MHz`, or `standard: b`"))
    if network.width_mhz == 40.0 and network.standard in ("b", "g"):
        complaints.append(spot.complain(f"802.11{network.standard} is never 40 MHz wide; write `standard: n` or `ax`"))


def _check_link(link: Link, site: Site, spot: Spot, complaints: list[str]) -> None:
    thick = 0.0
    ways = spot.value["through"].value if "through" in spot.value else []
    for wall, where in zip(link.through, ways, strict=True):
        if isinstance(wall, str) and wall not in site.walls:
            near = difflib.get_close_matches(wall, site.walls, 1)
            advice = f"write `{near[0]}`" if near else "describe it under `walls`"
            complaints.append(where.complain(f"`{wall}` is no wall of this file; {advice}"))
    slabs = layers(link, site)
    if len(slabs) > MOST_WALLS:
        complaints.append(spot.complain(f"{len(slabs)} walls are on the way; write at most {MOST_WALLS}"))
    thick = sum(slab.thickness_m for slab in slabs)
    if thick >= link.distance_m:
        complaints.append(
            spot.value["distance"].complain(
                f"walls of {thick * 1e3:g} mm do not fit into {link.distance_m:g} m; write a longer distance"
            )
        )


def layers(link: Link, site: Site) -> list[Wall]:
    """The slabs on the way of a link, in order; walls that the site does not know are left out."""
    found: list[Wall] = []
    for wall in link.through:
        meant = site.walls.get(wall, []) if isinstance(wall, str) else wall
        found += meant if isinstance(meant, list) else [meant]
    return found
