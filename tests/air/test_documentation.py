"""fixtures/air/README.md tells of every field, word and limit, and the README's own air.yaml is one."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
from msgspec import Struct, structs

from radiocheck.air.read import read
from radiocheck.air.site import Device, Link, Network, Noise, Site, Standard, Wall
from radiocheck.evidence.store import load
from radiocheck.radio.plan import MOST_LINKS
from radiocheck.radio.survey import MOST_NETWORKS
from radiocheck.radio.walls import MATERIALS
from tests.chain import air_house

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "fixtures" / "air" / "README.md").read_text()


@pytest.mark.parametrize("record", [Site, Network, Noise, Wall, Link])
def test_every_field(record: type[Struct]) -> None:
    """Each field stands there in code marks."""
    assert [one.encode_name for one in structs.fields(record) if f"`{one.encode_name}`" not in TEXT] == []


def test_every_word() -> None:
    """So do materials, kinds of device and standards, and the limits."""
    words = [*MATERIALS, *get_args(Device), *(f"`{one}`" for one in get_args(Standard))]
    assert [word for word in words if word not in TEXT] == []
    assert f"at most {MOST_NETWORKS}" in TEXT
    assert f"at most {MOST_LINKS}" in TEXT


def test_the_readme_shows_one_that_is_read() -> None:
    """The piece of air.yaml in the README is read without a complaint."""
    (shown,) = re.findall(r"```yaml\n(# air\.yaml.*?)```", (ROOT / "README.md").read_text(), re.S)
    site = read(shown.encode(), "README.md")
    assert (site.channel, len(site.survey or ()), len(site.links)) == (17, 1, 1)


def test_the_capture_of_the_house() -> None:
    """gable.json is the invented house of the tests: the adapter, and a busy SuperSpeed disk in the next socket."""
    shipped = (ROOT / "fixtures" / "air" / "gable.json").read_bytes()
    assert load(shipped, "gable.json") == air_house.evidence(air_house.disk())
