"""The air as a picture: the band with its Wi-Fi, and the weakest link term by term.

Readable in black and white: networks have letters and dashes, the adapter's own channel is
filled, the best one hatched; every value that matters stands there as text too.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from radiocheck.chain import air_words as say
from radiocheck.chain.air_report import QUESTIONS, AirReport, Net
from radiocheck.radio.channels import BAND, MESH, mesh_mhz
from radiocheck.radio.link import Direction
from radiocheck.radio.masks import MASKS, share_db
from radiocheck.radio.survey import recommended

from . import svg
from .air import weakest
from .layout import cut

WIDTH = 1000.0
LEFT, RIGHT = 70.0, 120.0
BAND_TOP, BAND_HEIGHT = 90.0, 300.0
LOWEST, HIGHEST = -110.0, -20.0  # dBm of the band's picture
FIRST_MHZ, LAST_MHZ = 2398.0, 2486.0
MOST = 8  # networks that are drawn; the rest is told in words
DASHES = ("none", "8 3", "2 3", "10 3 2 3", "5 5", "1 4", "12 2", "6 2 2 2")
STEP_MHZ = 0.5
ROW = 24.0
NAMES = 230.0  # for the names of the waterfall's rows
FEWEST_DB = 60.0


def drawn(report: AirReport) -> str:
    """The picture as SVG 1.1."""
    nets = sorted(report.networks or (), key=lambda one: -one.level_dbm)
    band, bottom = _band(report, nets)
    parts = [_patterns(), *_head(report), band]
    found = weakest(report.links)
    if found is not None:
        one, way, direction = found
        fall, bottom = _waterfall(f"{one.name}, {direction}", way, bottom + 50.0)
        parts.append(fall)
    about = " ".join(f"{QUESTIONS[one.question]} {one.sentence}" for one in report.answers)
    return svg.document(WIDTH, bottom + 20.0, _name(report), about, parts)


def _name(report: AirReport) -> str:
    where = f"channel {report.channel}" if report.channel is not None else "channel not known"
    return f"The air of {report.adapter or report.site or 'an adapter'}, {where}"


def _head(report: AirReport) -> list[str]:
    return [svg.label(cut(_name(report), 90), LEFT, 32, font_size=18, font_weight="bold")]


def _patterns() -> str:
    return svg.element("defs", svg.hatch("best", 45, 6, 1.6) + svg.hatch("loss", -45, 5, 1.2))


# --- the band


def _x(mhz: float) -> float:
    return LEFT + (mhz - FIRST_MHZ) / (LAST_MHZ - FIRST_MHZ) * (WIDTH - LEFT - RIGHT)


def _y(dbm: float) -> float:
    level = min(max(dbm, LOWEST), HIGHEST)
    return BAND_TOP + (HIGHEST - level) / (HIGHEST - LOWEST) * BAND_HEIGHT


def _band(report: AirReport, nets: Sequence[Net]) -> tuple[str, float]:
    """The band's picture and where it ends."""
    best = recommended(report.channels).channel if report.networks and report.channels else None
    parts = [*_axes(), *_channels(report, best), *(_limits() if nets else ())]
    for place, one in enumerate(nets[:MOST]):
        parts += _network(one, place)
    legend, bottom = _legend(report, nets, best)
    parts += legend
    said = [
        f"{_letter(place)}: {one.name}, {one.centre_mhz:.0f} MHz, {one.width_mhz:.0f} MHz wide, "
        f"{say.decibels(one.level_dbm)} dBm."
        for place, one in enumerate(nets[:MOST])
    ]
    own = f"The adapter's channel is {report.channel}." if report.channel is not None else ""
    good = f"The best channel is {best}." if best is not None else ""
    about = " ".join(word for word in ("Wi-Fi networks and the sixteen channels.", own, good, *said) if word)
    return svg.titled("The 2.4 GHz band", about, parts, "band"), bottom


def _axes() -> Iterator[str]:
    yield svg.label("The 2.4 GHz band: power in a filter of 2 MHz, dBm", LEFT, BAND_TOP - 14, font_weight="bold")
    for dbm in range(int(LOWEST), int(HIGHEST) + 1, 10):
        yield svg.line(LEFT, _y(dbm), WIDTH - RIGHT, _y(dbm), stroke="#ddd")
        yield svg.label(say.decibels(dbm), LEFT - 8, _y(dbm) + 4, text_anchor="end")
    base = _y(LOWEST)
    for mhz in range(2400, int(LAST_MHZ) + 1, 10):
        yield svg.line(_x(mhz), base, _x(mhz), base + 5)
        yield svg.label(f"{mhz}", _x(mhz), base + 40, text_anchor="middle", fill="#444")
    for edge in BAND:
        yield svg.line(_x(edge), BAND_TOP, _x(edge), base, stroke="#888", stroke_dasharray="2 4")
    yield svg.label("MHz", WIDTH - RIGHT, base + 40, text_anchor="end", fill="#444")
    yield svg.line(LEFT, base, WIDTH - RIGHT, base)


def _channels(report: AirReport, best: int | None) -> Iterator[str]:
    """The sixteen channels as bars up to the level that they are judged for."""
    top, base = _y(report.wanted_dbm), _y(LOWEST)
    for channel in MESH:
        centre = mesh_mhz(channel)
        own = channel == report.channel
        fill = "#000" if own else "url(#best)" if channel == best else "#fff"
        left, right = _x(centre - 1.0), _x(centre + 1.0)
        yield svg.box(left, top, right - left, base - top, fill=fill, stroke="#000", stroke_width=1)
        bold: dict[str, str | float] = {"font_weight": "bold", "text_decoration": "underline"} if own else {}
        yield svg.label(f"{channel}", _x(centre), base + 20, text_anchor="middle", **bold)
    below = _y(HIGHEST)
    for words, dbm in _floors(report):
        below = max(below + 13.0, _y(dbm) + 4.0)  # labels never on each other
        yield svg.line(LEFT, _y(dbm), WIDTH - RIGHT, _y(dbm), stroke="#000", stroke_dasharray="6 3")
        yield svg.label(words, WIDTH - RIGHT + 6, below, font_size=11)


def _limits() -> Iterator[str]:
    words = "beside its flat top, Wi-Fi is drawn at the limit of its standard"
    yield svg.label(words, WIDTH - RIGHT, BAND_TOP - 14, text_anchor="end", font_size=11, fill="#444")


def _floors(report: AirReport) -> list[tuple[str, float]]:
    """The adapter's noise floor, at both ends when they differ, the higher one first."""
    best, worst = report.floor_best_dbm, report.floor_worst_dbm
    if round(best) == round(worst):
        return [(f"noise {say.decibels(best)}", best)]
    return [(f"noise, worst {say.decibels(worst)}", worst), (f"noise, best {say.decibels(best)}", best)]


def _network(one: Net, place: int) -> Iterator[str]:
    """A network as the power that it puts into a receiver tuned anywhere, with its letter on top."""
    mask = MASKS[one.mask]
    steps = int((LAST_MHZ - FIRST_MHZ) / STEP_MHZ)
    places = [FIRST_MHZ + step * STEP_MHZ for step in range(steps + 1)]
    points = [(mhz, one.level_dbm + share_db(mask, mhz - one.centre_mhz)) for mhz in places]
    above = [(_x(mhz), _y(dbm)) for mhz, dbm in points if dbm > LOWEST]
    if not above:
        return
    yield svg.curve(above, fill="none", stroke="#000", stroke_width=2, stroke_dasharray=DASHES[place % len(DASHES)])
    peak = one.level_dbm + share_db(mask, 0.0)
    at = one.centre_mhz + (place % 4 - 1.5) * 2.5  # networks on one channel must not write over each other
    x = min(max(_x(at), LEFT + 8), WIDTH - RIGHT - 8)
    yield svg.element("circle", cx=x, cy=_y(peak), r=9.0, fill="#fff", stroke="#000")
    yield svg.label(_letter(place), x, _y(peak) + 4, text_anchor="middle", font_weight="bold")


def _letter(place: int) -> str:
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[place % 26]


def _legend(report: AirReport, nets: Sequence[Net], best: int | None) -> tuple[list[str], float]:
    top = BAND_TOP + BAND_HEIGHT + 66.0
    parts, x = [], LEFT
    swatches = [("#000", f"its own channel, {report.channel}")] if report.channel is not None else []
    if best is not None and best != report.channel:
        swatches.append(("url(#best)", f"best channel, {best}"))
    swatches.append(("#fff", f"channels, up to the {say.decibels(report.wanted_dbm)} dBm that a device is heard with"))
    for fill, words in swatches:
        parts += [svg.box(x, top - 10, 14, 12, fill=fill, stroke="#000"), svg.label(words, x + 20, top)]
        x += 40.0 + 7.0 * len(words)
    for place, one in enumerate(nets[:MOST]):
        y = top + 22.0 + ROW * (place // 2)
        x = LEFT + (place % 2) * (WIDTH - LEFT) / 2
        parts.append(svg.line(x, y - 4, x + 36, y - 4, stroke_width=2, stroke_dasharray=DASHES[place % len(DASHES)]))
        said = f"{one.centre_mhz:.0f} MHz, {one.width_mhz:.0f} wide, {say.decibels(one.level_dbm)} dBm"
        parts.append(svg.label(f"{_letter(place)}  {cut(one.name, 24)}: {said}", x + 44, y))
    rows = (min(len(nets), MOST) + 1) // 2
    bottom = top + 22.0 + ROW * max(rows - 1, 0)
    if not nets:
        parts.append(svg.label("No Wi-Fi survey: no network is drawn." if report.networks is None
                               else "No Wi-Fi network is in the survey.", LEFT, top + 22))  # fmt: skip
    elif len(nets) > MOST:
        bottom += ROW
        parts.append(svg.label(f"and {len(nets) - MOST} weaker networks, not drawn", LEFT, bottom))
    return parts, bottom


# --- the link


def _waterfall(name: str, way: Direction, top: float) -> tuple[str, float]:
    """Rows from the transmit power down to the margin, and where they end."""
    needed = way.level_dbm - way.margin_db  # the weakest level at which a detector does its work
    levels = _levels(way)
    low = min([needed, way.floor_dbm, *(level for _, _, level in levels)]) - 5.0
    high = max([0.0, *(before for _, before, _ in levels), *(level for _, _, level in levels)]) + 5.0
    low = min(low, high - FEWEST_DB)
    room = WIDTH - LEFT - RIGHT - NAMES

    def at(dbm: float) -> float:
        return LEFT + NAMES + (min(max(dbm, low), high) - low) / (high - low) * room

    rows = len(levels) + 2
    parts = [svg.label(f"The weakest link: {cut(name, 80)}", LEFT, top, font_weight="bold")]
    first = top + 16.0
    for dbm in range(int(low // 20) * 20 + 20, int(high) + 1, 20):
        parts += [
            svg.line(at(dbm), first, at(dbm), first + ROW * rows, stroke="#ddd"),
            svg.label(f"{say.decibels(dbm)} dBm", at(dbm), first + ROW * rows + 16, text_anchor="middle", fill="#444"),
        ]
    end = first + ROW * rows
    parts += [
        svg.line(at(way.floor_dbm), first, at(way.floor_dbm), end, stroke_dasharray="6 3"),
        svg.line(at(needed), first, at(needed), end, stroke_dasharray="2 3"),
    ]
    for place, (words, before, after) in enumerate(levels):
        y = first + ROW * place
        parts.append(svg.label(cut(words, 34), LEFT, y + 16))
        left, right = sorted((at(before), at(after)))
        fill = "#000" if place == 0 else "url(#loss)" if after < before else "#999"
        parts.append(svg.box(left, y + 4, max(right - left, 1.5), ROW - 8, fill=fill, stroke="#000"))
        change = f"{say.decibels(after)} dBm" if place == 0 else f"{say.decibels(after - before)} dB"
        parts += _value(change, right + 6, y)
        parts.append(svg.line(at(after), y + ROW - 4, at(after), y + ROW + 4))
    y = first + ROW * len(levels)
    parts += _row("received", f"{say.decibels(way.level_dbm)} dBm", at(low), at(way.level_dbm), y, "#fff")
    left, right = sorted((at(needed), at(way.level_dbm)))
    words = "margin" if way.margin_db >= 0 else "missing"
    parts += _row(words, f"{say.decibels(abs(way.margin_db))} dB", left, right, y + ROW, "url(#best)")
    parts += [
        svg.label(f"noise {say.decibels(way.floor_dbm)}", at(way.floor_dbm), end + 32, text_anchor="middle"),
        svg.label(f"needed {say.decibels(needed)}", at(needed), end + 46, text_anchor="middle"),
    ]
    steps = "; ".join(f"{words} {say.decibels(after - before)} dB" for words, before, after in levels[1:])
    about = (
        f"It starts with {say.decibels(levels[0][2])} dBm; {steps}. Received: {say.decibels(way.level_dbm)} dBm over a "
        f"noise of {say.decibels(way.floor_dbm)} dBm, a margin of {say.decibels(way.margin_db)} dB."
    )
    return svg.titled(f"The weakest link: {name}", about, parts, "link"), end + 56.0


def _row(words: str, value: str, left: float, right: float, y: float, fill: str) -> list[str]:
    return [
        svg.label(words, LEFT, y + 16, font_weight="bold"),
        svg.box(left, y + 4, max(right - left, 1.5), ROW - 8, fill=fill, stroke="#000"),
        *_value(value, right + 6, y),
    ]


def _value(words: str, x: float, y: float) -> list[str]:
    """A figure at the end of a bar, on white so that no line strikes it out."""
    return [svg.box(x - 2, y + 4, 8.0 * len(words), ROW - 8, fill="#fff"), svg.label(words, x, y + 16)]


def _levels(way: Direction) -> list[tuple[str, float, float]]:
    """Each term with the level before and behind it; the first begins where it ends."""
    found, level = [], 0.0
    for place, term in enumerate(way.terms):
        before = level if place else term.db
        level += term.db
        found.append((term.name, before, level))
    return found
