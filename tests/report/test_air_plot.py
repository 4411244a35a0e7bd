"""The air as a picture: SVG 1.1 that is valid, refers to nothing, and says in words what it shows."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from defusedxml.ElementTree import fromstring
from msgspec import structs

from radiocheck.chain.air_report import AirReport
from radiocheck.report import svg
from radiocheck.report.air_plot import drawn
from tests.chain import air_house

SVG = "{http://www.w3.org/2000/svg}"
HOUSE = air_house.report(air_house.asked())
MANY = "channel: 20\nsurvey:\n" + "".join(
    f"  - {{name: net {number}, channel: {number % 13 + 1}, level: -{40 + number} dBm}}\n" for number in range(30)
)
REPORTS = {
    "house": HOUSE,
    "many": air_house.report(air_house.asked(MANY)),
    "empty": air_house.report(air_house.asked("survey: []")),
    "nothing": air_house.report(air_house.asked("{}")),
    "far": air_house.report(
        air_house.asked("links: [{name: far, distance: 1000 m, through: [{material: metal, thickness: 1 m}]}]")
    ),
}


def parsed(report: AirReport) -> ElementTree.Element:
    """The picture's root element, by a reader that refuses entities and references."""
    root: ElementTree.Element = fromstring(drawn(report))
    return root


@pytest.mark.parametrize("report", REPORTS.values(), ids=REPORTS.keys())
def test_is_svg(report: AirReport) -> None:
    """It is well-formed XML with SVG 1.1 as root, and every element is one that SVG 1.1 has (W3C, SVG 1.1, E)."""
    root = parsed(report)
    assert root.tag == f"{SVG}svg"
    assert root.get("version") == "1.1"
    names = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert names <= {"svg", "g", "title", "desc", "defs", "pattern", "line", "rect", "polyline", "circle", "text"}


@pytest.mark.parametrize("report", REPORTS.values(), ids=REPORTS.keys())
def test_refers_to_nothing(report: AirReport) -> None:
    """No script, style, image or link; the only references are to its own patterns."""
    text = drawn(report)
    assert "href" not in text
    assert "<script" not in text
    assert set(re.findall(r"url\(([^)]*)\)", text)) <= {"#best", "#loss"}
    assert re.findall(r"https?://[^\"' ]*", text) == ["http://www.w3.org/2000/svg"]


@pytest.mark.parametrize("report", REPORTS.values(), ids=REPORTS.keys())
def test_stays_inside(report: AirReport) -> None:
    """Everything that is drawn lies inside the picture."""
    root = parsed(report)
    width, height = float(root.get("width", "0")), float(root.get("height", "0"))
    for element in root.iter():
        for name in ("x", "x1", "x2", "cx"):
            assert 0 <= float(element.get(name, "0")) <= width, element.attrib
        for name in ("y", "y1", "y2", "cy"):
            assert 0 <= float(element.get(name, "0")) <= height, element.attrib


def test_every_channel() -> None:
    """All sixteen channels have their number; the adapter's own is underlined and filled, the best is hatched."""
    texts = [element for element in parsed(HOUSE).iter(f"{SVG}text") if element.text in map(str, range(11, 27))]
    assert [element.text for element in texts] == [str(number) for number in range(11, 27)]
    assert [element.text for element in texts if element.get("text-decoration")] == ["17"]
    fills = [element.get("fill") for element in parsed(HOUSE).iter(f"{SVG}rect")]
    assert fills.count("url(#best)") >= 2  # the bar and its legend


def test_black_and_white() -> None:
    """No colour is needed: every one is a shade of grey."""
    for report in REPORTS.values():
        for colour in re.findall(r"#([0-9a-f]{3})\b", drawn(report)):
            assert len(set(colour)) == 1, colour


def test_networks_are_told_apart() -> None:
    """Each network that is drawn has its own dashes and its letter on the curve and in the legend."""
    root = parsed(REPORTS["many"])
    curves = [element.get("stroke-dasharray") for element in root.iter(f"{SVG}polyline")]
    assert len(curves) == len(set(curves)) == 8
    words = [element.text or "" for element in root.iter(f"{SVG}text")]
    assert all(words.count(letter) == 1 for letter in "ABCDEFGH")
    assert "and 22 weaker networks, not drawn" in words


def test_says_what_it_shows() -> None:
    """Title and description of the whole and of each part hold the answers and the figures."""
    root = parsed(HOUSE)
    about = [element.text or "" for element in root.iter(f"{SVG}desc")]
    assert "No: on channel 17" in about[0]
    assert "gable-upstairs, 2437 MHz, 20 MHz wide, −48 dBm" in about[1]
    assert "attic" not in about[1]
    assert "11 m of air" in about[2]
    named = {element.get("id") for element in root.iter() if element.get("id")}
    for element in root.iter():
        assert set((element.get("aria-labelledby") or "").split()) <= named


def test_hostile_names() -> None:
    """Markup, quotes, controls and lone surrogates in names stay words."""
    evil = "</text><script>\"'&\x1b\x00\ud800\u202e"
    networks = [structs.replace(one, name=evil) for one in HOUSE.networks or ()]
    links = [structs.replace(one, name=evil) for one in HOUSE.links]
    report = structs.replace(HOUSE, networks=networks, links=links, adapter=evil, site=evil)
    text = drawn(report)
    assert "<script" not in text
    text.encode("utf-8")
    titles = [element.text or "" for element in parsed(report).iter(f"{SVG}title")]
    assert "</text><script>\"'&\\x1b\\x00\\ud800\\u202e" in titles[0]


def test_waterfall_adds_up() -> None:
    """The changes that are written at the bars are those of the link's terms."""
    words = [element.text for element in parsed(HOUSE).iter(f"{SVG}text")]
    way = next(one for one in HOUSE.links if one.name == "attic sensor").worst.to_coordinator
    assert f"{way.level_dbm:.0f} dBm".replace("-", "−") in words
    for term in way.terms[2:]:
        assert f"{term.db:.0f} dB".replace("-", "−") in words


def test_deterministic() -> None:
    """The same report gives the same bytes."""
    assert drawn(HOUSE) == drawn(HOUSE)


@pytest.mark.skipif(shutil.which("rsvg-convert") is None, reason="no rsvg-convert here (Debian: librsvg2-bin)")
def test_a_renderer_takes_it(tmp_path: Path) -> None:
    """librsvg renders the picture without a word, and it is neither blank nor black."""
    file = tmp_path / "air.svg"
    file.write_text(drawn(HOUSE), encoding="utf-8")
    done = subprocess.run(
        ["rsvg-convert", "--width", "200", "--format", "png", str(file)], capture_output=True, timeout=60, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.startswith(b"\x89PNG")
    assert len(done.stdout) > 5000


def test_attributes_are_quoted() -> None:
    """A value with quotes stays one attribute; numbers are rounded to a tenth."""
    made = fromstring(svg.element("text", svg.text("a<b"), id="\"x'&", x=1.2345, font_size=3))
    assert made.attrib == {"id": "\"x'&", "x": "1.2", "font-size": "3"}
    assert made.text == "a<b"
