"""The air report as text: three answers first, then the figures, what is assumed, and cautions."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.chain import air_words as say
from radiocheck.chain.air_report import QUESTIONS, AirReport, Answer, Span, Way
from radiocheck.chain.air_rows import delivered, margin_db
from radiocheck.radio.link import Direction, Link

from . import words
from .escape import TYPED, harmless_record
from .layout import Look, columns, listed, wrap
from .table import table
from .text import NARROWEST, WIDEST

INK = {"good": "sound", "costly": "weak", "bad": "broken", "unseen": "unseen"}
VERDICTS = {"heard": "well", "doubtful": "doubtful", "not-heard": "hardly"}
MOST = 20  # networks in the table
DIRECTIONS = ("to the device", "to the adapter")


def text(report: AirReport, width: int = 80, colour: bool = False, ascii: bool = False) -> str:
    """The report in lines of at most `width` columns, except long words."""
    look = Look(max(NARROWEST, min(width, WIDEST)), colour, ascii)
    report = harmless_record(report, ascii)
    blocks = [
        _head(report, look),
        *[_answer(one, look) for one in report.answers],
        _what_if(report, look),
        _neighbours(report, look),
        _networks(report, look),
        _channels(report, look),
        _devices(report, look),
        _budget(report, look),
        _assumed(report, look),
        _sentences("What it rests on besides", report.models, look),
        _sentences("Mind", report.cautions, look),
        _seen_on(report, look),
    ]
    whole = "\n\n".join("\n".join(block) for block in blocks if block) + "\n"
    return whole.translate(TYPED) if ascii else whole


def _head(report: AirReport, look: Look) -> list[str]:
    lines = look.paint_all(wrap(report.adapter or "No adapter was seen", look.width), "bold")
    about = [
        report.port and f"port {report.port}",
        f"channel {report.channel}" if report.channel is not None else "channel not known",
        report.site and f"site {report.site}",
    ]
    return [*lines, *look.paint_all(wrap(", ".join(word for word in about if word), look.width), "quiet")]


def _answer(answer: Answer, look: Look) -> list[str]:
    lines = look.paint_all(wrap(QUESTIONS[answer.question], look.width), "bold")
    lines += look.paint_all(wrap(answer.sentence, look.width, "  "), INK[answer.state])
    for sentence in answer.more:
        lines += wrap(sentence, look.width, "  ")
    return lines


def _title(words: str, look: Look) -> list[str]:
    return look.paint_all(wrap(words, look.width), "bold")


def _what_if(report: AirReport, look: Look) -> list[str]:
    if report.what_if is None:
        return []
    rows = [
        [change.what, _span(change.before, change.unit), _span(change.after, change.unit)]
        for change in report.what_if.changes
    ]
    return [
        *_title(f"What if: {listed(report.what_if.asked)}", look),
        *table(["", "before", "after"], rows, look),
    ]


def _span(of: Span, unit: str) -> str:
    return say.span(of.best, of.worst) if unit == "dB" else f"{say.percents(of)} of 100"


def _neighbours(report: AirReport, look: Look) -> list[str]:
    if not report.neighbours:
        return []
    rows = [
        [one.label, f"{one.gbps:g} Gb/s", one.activity or "not seen", say.WHERE[one.where]] for one in report.neighbours
    ]
    return [*_title("SuperSpeed around it, nearest first", look), *table(["", "", "now", "in"], rows, look, (0, 2, 3))]


def _networks(report: AirReport, look: Look) -> list[str]:
    if not report.networks:
        return []
    rows = [
        [
            one.name,
            f"{one.centre_mhz:.0f}",
            f"{one.width_mhz:.0f}",
            say.decibels(one.level_dbm),
            "not told" if one.busy is None else f"{one.busy * 100:.0f} %",
        ]
        for one in sorted(report.networks, key=lambda one: -one.level_dbm)[:MOST]
    ]
    more = len(report.networks) - MOST
    origin = "as the site lists them" if report.survey_from == "site" else "as this machine has heard them lately"
    return [
        *_title(f"Wi-Fi networks, {origin}", look),
        *table(["", "MHz", "wide", "dBm", "channel taken"], rows, look),
        *(wrap(f"and {more} weaker ones, which --format json lists", look.width, "  ") if more > 0 else []),
    ]


def _channels(report: AirReport, look: Look) -> list[str]:
    if not report.channels:
        return []
    limit = "<=" if look.ascii else "≤"  # before a figure that is known as a limit only
    rows = [
        [
            f"{one.channel}{' <' if one.channel == report.channel else ''}",
            "none" if one.wifi_dbm is None else f"{limit} " * one.bound + say.decibels(one.wifi_dbm),
            say.decibels(one.margin_db),
            say.percents(Span(one.busy, one.busy)),
            say.percents(Span(one.frame_errors, one.frame_errors)),
            say.percents(Span(one.delivered, one.delivered_worst)),
            say.why(one),
        ]
        for one in report.channels
    ]
    own = f" (< its own, {report.channel})" if report.channel is not None else ""
    whose = (
        f"`{report.wanted_from}`, the weakest device within reach of quiet air," if report.wanted_from else "a device"
    )
    about = (
        f"For {whose} heard at {say.decibels(report.wanted_dbm)} dBm. Margin: with all networks on the air at once. "
        "Of 100: looks that find the channel taken, attempts that fail, frames that arrive after retries."
    )
    if any(one.bound for one in report.channels):
        about += (
            f" {limit}: so far beside the loudest network that only the limit of its standard is known; real "
            "transmitters mostly stay below it, so these channels may be better than they stand here."
        )
    return [
        *_title(f"Channels, best first{own}", look),
        *table(["", "Wi-Fi dBm", "margin dB", "taken", "fail", "arrive", "where"], rows, look, (0, 6)),
        *wrap(about, look.width, "  "),
    ]


def _devices(report: AirReport, look: Look) -> list[str]:
    rows = [
        [
            one.name,
            f"{one.distance_m:g}",
            f"{say.decibels(one.worst.to_device.level_dbm)} / {say.decibels(one.worst.to_coordinator.level_dbm)}",
            say.span(margin_db(one.best), margin_db(one.worst), "").strip(),
            say.percents(Span(_chance(one.best), _chance(one.worst))),
            say.percents(Span(delivered(one.best), delivered(one.worst))),
            VERDICTS[one.verdict],
        ]
        for one in report.links
    ]
    head = ["", "m", "dBm", "margin dB", "chance", "arrive", "heard"]
    about = (
        "dBm: at the device / at the adapter. Margin in air without Wi-Fi, the chance (of 100) that it is there at "
        "all, and frames that arrive after retries (of 100): in the harder direction, from the worst to the best "
        "noise beside the adapter."
    )
    return [*_title("Devices", look), *table(head, rows, look, (0, 6)), *wrap(about, look.width, "  ")] if rows else []


def _chance(link: Link) -> float:
    return min(link.to_device.chance, link.to_coordinator.chance)


def weakest(links: Sequence[Way]) -> tuple[Way, Direction, str] | None:
    """The link with the least margin, its harder direction and what that is called; none without links."""
    one = min(links, key=lambda one: margin_db(one.worst), default=None)
    if one is None:
        return None
    ways = (one.worst.to_device, one.worst.to_coordinator)
    hard = min((0, 1), key=lambda place: ways[place].margin_db)
    return one, ways[hard], DIRECTIONS[hard]


def _budget(report: AirReport, look: Look) -> list[str]:
    """The weakest link, term by term, in its harder direction."""
    found = weakest(report.links)
    if found is None:
        return []
    one, way, direction = found
    level, rows = 0.0, []
    for place, term in enumerate(way.terms):
        level += term.db
        rows.append([term.name, f"{say.decibels(term.db)} dB{'m' if place == 0 else ''}", f"{say.decibels(level)} dBm"])
    rows += [
        ["noise, at worst", "", f"{say.decibels(way.floor_dbm)} dBm"],
        ["margin over what a detector needs", f"{say.decibels(way.margin_db)} dB", ""],
    ]
    if way.while_on_db is not None:
        rows.append(["… while the loudest Wi-Fi is on the air", f"{say.decibels(way.while_on_db)} dB", ""])
    return [*_title(f"The weakest link: {one.name}, {direction}", look), *table(["", "", "level"], rows, look)]


def _assumed(report: AirReport, look: Look) -> list[str]:
    lines = _title("What is assumed; `assume` in air.yaml changes it", look)
    for one in report.assumed:
        low, high, value = (f"{number * 100:g} %" if one.unit == "share" else f"{number:g}" for number in (
            one.low, one.high, one.value
        ))  # fmt: skip
        unit = "" if one.unit == "share" else f" {one.unit}"
        start = f"{one.name} {value}{unit} ({low} to {high}): ".replace("-", "\N{MINUS SIGN}")
        said = f"{start}{one.about}; {'given' if one.given else one.source}"
        lines += wrap(said, look.width, "  ", "    ")
    return lines


def _sentences(title: str, sentences: Sequence[str], look: Look) -> list[str]:
    lines = _title(title, look)
    mark = "- " if look.ascii else "· "
    for sentence in sentences:
        lines += wrap(sentence, look.width, mark, " " * columns(mark))
    return lines


def _seen_on(report: AirReport, look: Look) -> list[str]:
    lines = []
    if report.host is not None:
        lines = look.paint_all(wrap(f"Seen on {report.host}", look.width), "quiet")
    more = words.provided(report.missing)
    if more:
        lines.append("Not everything could be seen:")
        for line in more:
            lines += wrap(line, look.width, "  ", "    ")
    return lines
