"""A site as the plan that the radio computation takes."""

from __future__ import annotations

from radiocheck.radio.channels import wifi_mhz
from radiocheck.radio.link import Slab
from radiocheck.radio.masks import mask_of
from radiocheck.radio.plan import LinkPlan, Plan
from radiocheck.radio.survey import Network as Heard

from .read import layers
from .site import Network, Site

UNNAMED = "(hidden)"


def plan(site: Site) -> Plan:
    """What the site says, without the noise of neighbours; `networks` is None without a survey."""
    return Plan(
        channel=site.channel,
        networks=None if site.survey is None else tuple(heard(one) for one in site.survey),
        links=tuple(
            LinkPlan(
                name=link.name,
                distance_m=link.distance_m,
                walls=tuple(
                    Slab(wall.material, wall.thickness_m, wall.angle_deg, wall.loss_db) for wall in layers(link, site)
                ),
                floors=link.floors,
                power_dbm=link.power_dbm,
            )
            for link in site.links
        ),
        given=site.assume,
    )


def heard(network: Network) -> Heard:
    """A network of the survey as a transmitter."""
    centre = network.centre_mhz
    if centre is None:
        assert network.channel is not None  # the reader has seen to it
        centre = wifi_mhz(network.channel)
    return Heard(
        name=network.name or UNNAMED,
        centre_mhz=centre,
        level_dbm=network.level_dbm,
        mask=mask_of(network.standard, network.width_mhz),
        busy=network.busy,
    )
