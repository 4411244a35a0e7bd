"""`air.yaml`: what is written there, and what is refused with its place."""

from __future__ import annotations

from pathlib import Path

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from radiocheck.air.plan import plan
from radiocheck.air.read import LIMIT, read
from radiocheck.air.site import Link, Network, Site, Wall
from radiocheck.radio.assume import ASSUMPTIONS
from radiocheck.radio.plan import compute
from radiocheck.report.schema import site_schema
from radiocheck.yaml_file import FileError

GABLE = Path(__file__).parents[2] / "fixtures" / "air" / "gable.yaml"


def site(text: str) -> Site:
    """The site of a text."""
    return read(text.encode(), "air.yaml")


def complaints(text: str) -> list[str]:
    """The lines that a text is refused with."""
    with pytest.raises(FileError) as caught:
        site(text)
    return str(caught.value).split("\n")


def test_example() -> None:
    """The example of the documentation is read, fits the schema, and can be computed."""
    house = read(GABLE.read_bytes(), "gable.yaml")
    assert house.site == "gable"
    assert [link.device for link in house.links] == ["lamp", "plug", "lock", "smoke sensor", "sensor", "sensor"]
    assert house.walls["stair wall"] == Wall(material="brick", thickness_m=0.115)
    jsonschema.validate(yaml.safe_load(GABLE.read_text()), site_schema())
    assert len(compute(plan(house)).links_best) == 6


def test_every_field() -> None:
    """Every field is read in the unit that its record names."""
    house = site(
        """
        channel: 15
        extension: 50 cm
        noise: {best: 1 dB, worst: 12 dB}
        survey:
          - {name: no, centre: 2.422 GHz, width: 40 MHz, level: -70.5 dBm, standard: 802.11ax, busy: 25 %}
        walls: {w: [{material: glass, thickness: 1 cm, angle: 45°, loss: 3 dB}]}
        links:
          - {name: 007, device: lock, room: hall, distance: 4 m, through: [w], floors: 1, power: -3 dBm}
        assume: {unknown_busy: 50 %, spread: 6 dB, frame: 127 octets}
        """
    )
    assert (house.channel, house.extension_m) == (15, 0.5)
    assert house.noise is not None
    assert (house.noise.best_db, house.noise.worst_db) == (1.0, 12.0)
    # `no` and `007` are what the person wrote, not YAML 1.1's boolean and number
    network = Network(name="no", centre_mhz=2422.0, width_mhz=40.0, level_dbm=-70.5, standard="ax", busy=0.25)
    assert house.survey == [network]
    assert house.walls == {"w": [Wall(material="glass", thickness_m=0.01, angle_deg=45.0, loss_db=3.0)]}
    link = Link(name="007", device="lock", room="hall", distance_m=4.0, through=["w"], floors=1, power_dbm=-3.0)
    assert house.links == [link]
    assert house.assume == {"unknown_busy": 0.5, "spread": 6.0, "frame": 127.0}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("channel: 9", "1:10: channel 9 is not in the 2.4 GHz band of IEEE 802.15.4; write one from 11 to 26"),
        ("channel: 27", "1:10: channel 27 is not in the 2.4 GHz band of IEEE 802.15.4; write one from 11 to 26"),
        ("channel: high", "1:10: `high` is no channel number; write one from 11 to 26"),
        ("channel: 15\nchannel: 20", "2:1: `channel` is written twice; keep one"),
        ("chanel: 15", "1:9: air.yaml has no field `chanel`; write `channel`"),
        ("channel:", "1:9: `channel` has nothing; write one value behind it"),
        ("", "1:1: is empty"),
        ("- 1", "1:1: air.yaml must be a mapping with site, channel, extension, noise, survey, walls, links, assume"),
        ("a: [", "2:1: is not YAML: did not find expected node content"),
        ("extension: 1.5", "1:12: `1.5` has no unit; write `1.5 m`, or the number and m, cm or ft"),
        (
            "noise: {best: 9 dB, worst: 3 dB}",
            "1:8: a noise rise of 9 dB at best is above the 3 dB at worst; write `best: 3 dB` and `worst: 9 dB`",
        ),
        (
            "survey: [{channel: 15, level: -50 dBm}]",
            "1:20: Wi-Fi channel 15 is not in the 2.4 GHz band; write one from 1 to 14",
        ),
        ("survey: [{channel: 1}]", "1:10: an entry of survey has no `level`; write one"),
        (
            'survey: [{channel: 1, level: -50 dBm, name: "\\e[2J"}]',
            "1:45: a name holds the character U+001B, which is not shown; write printable characters only",
        ),
        (
            "survey: [{width: 40 MHz, channel: 3, level: -50 dBm}]",
            "1:10: a network of 40 MHz has its centre between two channels; write `centre: 2422 MHz` or where it is",
        ),
        (
            "survey: [{level: -50 dBm}]",
            "1:10: a network has neither `channel` nor `centre`; write one of them",
        ),
        (
            "survey: [{channel: 1, centre: 2412 MHz, level: -50 dBm}]",
            "1:10: a network has both `channel` and `centre`; write one of them",
        ),
        (
            "survey: [{channel: 1, width: 80 MHz, level: -50 dBm}]",
            "1:30: a channel width of 80 MHz is outside 20 MHz to 40 MHz",
        ),
        (
            "survey: [{channel: 1, standard: ac, level: -50 dBm}]",
            "1:33: `ac` is no Wi-Fi standard of the 2.4 GHz band; write one of b, g, n, ax",
        ),
        (
            "walls: {a: {material: drywall, thickness: 10 mm}}",
            "1:23: `drywall` is no known material; write `plasterboard`",
        ),
        (
            "walls: {a: {material: brick, thickness: 3 m}}",
            "1:41: a thickness of 3 m is outside 1 mm to 2000 mm",
        ),
        ("links: [{name: a, distance: -3 m}]", "1:29: a distance of -3 m is outside 0.1 m to 1000 m"),
        ("links: [{name: a, distance: 3 m, floors: 11}]", "1:42: a number of floors of 11 is outside 0 to 10"),
        (
            "links: [{name: a, distance: 3 m, through: [wal]}]\nwalls: {wall: {material: brick, thickness: 1 cm}}",
            "1:44: `wal` is no wall of this file; write `wall`",
        ),
        (
            "links: [{name: a, distance: 3 m, through: [b, b]}]\nwalls: {b: {material: brick, thickness: 1.6 m}}",
            "1:29: walls of 3200 mm do not fit into 3 m; write a longer distance",
        ),
        ("links: {name: a}", "1:8: `links` must be a list; begin each entry with `- `"),
        ("walls: [a]", "1:8: `walls` must be a mapping; write `name: …` lines"),
        ("assume: {spred: 7 dB}", "1:17: `spred` is no assumption of radiocheck; write `spread`"),
        ("assume: {spread: 70 dB}", "1:18: spread of 70 dB is outside 0 dB to 15 dB"),
        ("assume: {unknown_busy: 0.2}", "1:24: `0.2` has no unit; write it in per cent, such as `20 %`"),
    ],
)
def test_refused(text: str, said: str) -> None:
    """Each thing that cannot be is told in one sentence with its place and what to write instead."""
    assert complaints(text) == [f"air.yaml:{said}"]


def test_too_many_networks() -> None:
    """A survey of more than a thousand networks is refused with the limit; a thousand are read."""
    network = "  - {channel: 1, level: -50 dBm}\n"
    house = site("survey:\n" + network * 1000)
    assert house.survey is not None
    assert len(house.survey) == 1000
    assert complaints("survey:\n" + network * 1001) == ["air.yaml:2:3: `survey` has 1001 entries; write at most 1000"]


def test_too_large() -> None:
    """A file beyond the limit is not parsed at all."""
    assert complaints("#" * (LIMIT + 1)) == [f"air.yaml: is {LIMIT + 1} bytes; a file here has at most {LIMIT}"]


def test_aliases_do_not_grow() -> None:
    """Anchors that are used again and again are refused, so that a small file stays small."""
    lines = ["walls:", "  a: &a [{material: brick, thickness: 1 cm}]"]
    lines += [f"  b{number}: &b{number} [*{before}, *{before}]" for number, before in ((1, "a"), (2, "b1"), (3, "b2"))]
    assert "used again through an anchor" in complaints("\n".join(lines))[0]


def test_all_complaints_in_order() -> None:
    """All complaints of one file come at once, in the order of their places, and no more than twenty."""
    said = complaints("links: []\nextension: 9 m\nchannel: 5\nsite: ''")
    assert [line.split(":")[1] for line in said] == ["2", "3", "4"]
    many = complaints("links:\n" + "  - 5\n" * 100)
    assert len(many) == 21
    assert many[-1] == "air.yaml: and 80 more"


def test_names_of_files_may_hold_colons() -> None:
    """A file's own name does not disturb the order of its complaints."""
    with pytest.raises(FileError) as caught:
        read(b"extension: 9 m\nchannel: 5", "a:b:7.yaml")
    assert [line.removeprefix("a:b:7.yaml:")[0] for line in str(caught.value).split("\n")] == ["1", "2"]


def test_every_assumption_can_be_written() -> None:
    """Every assumption of the computation is read back from the value that its schema gives as an example."""
    examples = site_schema()["$defs"]["Site"]["properties"]["assume"]["properties"]
    assert list(examples) == [one.name for one in ASSUMPTIONS]
    text = "assume:\n" + "".join(f'  {name}: "{field["examples"][0]}"\n' for name, field in examples.items())
    assert site(text).assume == pytest.approx({one.name: one.value for one in ASSUMPTIONS})


WORDS = st.sampled_from(
    "site channel extension noise survey walls links assume name level width material thickness distance through "
    "floors 15 1.5 -50 brick m dBm MHz % 7.5_m -50_dBm ~ [] {} : - , &a *a !!int ? | > ' \"".split()
)


@settings(max_examples=150, deadline=None)
@given(st.lists(WORDS, max_size=12), st.lists(st.sampled_from([" ", "\n", "\n  ", "\n  - ", ": "]), max_size=12))
def test_never_anything_but_a_complaint(words: list[str], gaps: list[str]) -> None:
    """Whatever is written, it is a site or a complaint whose every line begins with the file."""
    text = "".join(word.replace("_", " ") + gap for word, gap in zip(words, [*gaps, *[" "] * 12], strict=False))
    said = ""
    try:
        site(text)
    except FileError as error:
        said = str(error)
    assert all(line.startswith("air.yaml:") for line in said.split("\n") if said)
