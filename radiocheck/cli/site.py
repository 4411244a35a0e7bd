"""The option `--site`: what a person says of the air (air.yaml), as the chain takes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import reading
from .status import Unusable

if TYPE_CHECKING:
    from radiocheck.air.site import Site
    from radiocheck.chain.air_build import Asked


def asked(file: str) -> Asked:
    """What the file says.  Raises `Unusable` with every complaint, one to a line."""
    return of_site(read(file))


def given(file: str | None, channel: str | None) -> Asked:
    """What the file says, on that channel; checked to be computable.  Raises `Unusable`."""
    from msgspec.structs import replace

    from radiocheck.air.site import mesh_channel
    from radiocheck.chain.air_build import Asked
    from radiocheck.radio.plan import Plan, compute

    house = asked(file) if file is not None else Asked(plan=Plan(None, None))
    try:
        if channel is not None:
            house = replace(house, plan=replace(house.plan, channel=mesh_channel(channel)))
        compute(house.plan)
    except ValueError as error:
        raise Unusable(str(error)) from None
    return house


def read(file: str) -> Site:
    """The records of the file (`-`: standard input).  Raises `Unusable`."""
    from radiocheck.air.read import LIMIT
    from radiocheck.air.read import read as understood
    from radiocheck.yaml_file import FileError

    data, name = reading.read(file, LIMIT, "the site's air.yaml")
    try:
        return understood(data, name)
    except FileError as error:
        raise Unusable(str(error)) from None


def of_site(house: Site) -> Asked:
    """The records as the chain takes them; nothing is changed yet, and no survey of the machine is in it."""
    from radiocheck.air.plan import plan
    from radiocheck.chain.air_build import Asked
    from radiocheck.chain.air_plan import Noise

    whole = plan(house)
    return Asked(
        plan=whole,
        site=house.site,
        kinds=[(link.device, link.room) for link in house.links],
        noise=Noise(house.noise.best_db, house.noise.worst_db, "measured") if house.noise else None,
        extension_m=house.extension_m,
        survey_from="site" if whole.networks is not None else None,
    )
