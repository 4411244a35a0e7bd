"""`radiocheck air`: the 2.4 GHz band where the adapter sits."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import click

from . import options, reading
from .output import coloured, only_ascii, width, write
from .site import asked
from .status import NOT_ENOUGH, Unusable

if TYPE_CHECKING:
    from radiocheck.chain.air_build import Asked
    from radiocheck.chain.air_change import Changes
    from radiocheck.chain.air_report import AirReport
    from radiocheck.chain.context import Context
    from radiocheck.chain.verdict import Missing
    from radiocheck.evidence.record import Evidence
    from radiocheck.evidence.usb import UsbDevice

Value = TypeVar("Value")

SOURCES = frozenset({"controllers", "host", "modules", "ports", "serial", "usb", "wifi"})  # the rest tells nothing here
ELSEWHERE = (".disabled", ".early_stop", ".over_current", ".state")  # of ports: they tell nothing of the air

EPILOG = """\b
Exit status:
  0  nothing that could be answered speaks against it
  1  something costs distance or frames
  2  wrong usage or unreadable input
  4  not enough is known to answer anything
"""


@click.command(short_help="Compute what the radio can hear where it sits.", epilog=EPILOG)
@click.option("--evidence", "capture", metavar="FILE", help="What `radiocheck capture` saved, instead of this machine.")
@click.option("--adapter", metavar="A", help="Which adapter: serial number, by-id name, port or VID:PID.")
@click.option("--site", metavar="FILE", help="Your house: channel, Wi-Fi, walls and devices (air.yaml).")
@click.option(
    "--channel", metavar="N", help="Channel of the mesh, 11 to 26; a what-if when the site names another one."
)
@click.option("--extension", metavar="LENGTH", help="What if it were on a USB 2 extension cable, such as 1.5m?")
@click.option(
    "--move-wifi",
    metavar="[NAME:]N",
    help="What if the loudest Wi-Fi network (or the one of that name) were on Wi-Fi channel N?",
)
@click.option("--noise", metavar="CHANGE", help="What if there were more or less noise at the adapter, such as +15dB?")
@click.option("--plot", metavar="FILE", help="Draw the band and the weakest link into FILE (SVG).")
@click.option("--replace", is_flag=True, help="Replace the picture when it exists.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", help="Text (default) or JSON.")
@click.option("--no-colour", is_flag=True, help="Use no colour (so does the variable NO_COLOR).")
@options.ascii_only
@click.pass_context
def air(
    context: click.Context,
    /,
    capture: str | None,
    adapter: str | None,
    site: str | None,
    plot: str | None,
    replace: bool,
    form: str,
    no_colour: bool,
    ascii: bool,
    **changes: str | None,
) -> None:
    """Answer three questions about the 2.4 GHz band where the adapter sits.

    Is something beside it shouting? Is its channel a good one? How far can it be heard?
    Only files are read, and what this machine has heard of Wi-Fi already; nothing is sent.
    """
    if plot is not None:
        from .saving import may_save

        if plot == "-":
            raise Unusable("the picture needs a file of its own; name one behind --plot")
        may_save(plot, replace)
    if capture == "-" and site == "-":
        raise Unusable(f"{reading.STDIN} can be read only once; name a file for the capture or the site")
    tried = _changes(**changes)
    house = asked(site) if site is not None else None
    report = _report(house, tried, _evidence(capture), adapter)
    if plot is not None:
        from radiocheck.report.air_plot import drawn

        from .saving import save_file

        save_file(plot, drawn(report).encode("utf-8"), replace)
    if form == "json":
        from radiocheck.evidence.store import encode

        write(encode(report).decode("ascii"))
    else:
        from radiocheck.report.air import text

        write(text(report, width(), coloured(no_colour), only_ascii(ascii)))
    context.exit(_status(report))


def _evidence(file: str | None) -> Evidence:
    if file is not None:
        return reading.evidence(file)[0]
    from radiocheck.sources.machine import Machine
    from radiocheck.sources.probe import probe

    return probe(Machine(), SOURCES)


def _report(house: Asked | None, tried: Changes, evidence: Evidence, adapter: str | None) -> AirReport:
    from radiocheck.chain.air_build import air as computed

    indexed, device = _adapter(evidence, adapter)
    try:
        return computed(_completed(house, tried, evidence), indexed, device)
    except ValueError as error:
        raise Unusable(str(error)) from None


def _adapter(evidence: Evidence, adapter: str | None) -> tuple[Context, UsbDevice | None]:
    """The evidence, indexed, and the adapter that is meant.  Raises `Unusable` when that is not clear."""
    from radiocheck.chain.context import context
    from radiocheck.chain.inside import inside
    from radiocheck.chain.named import names_device
    from radiocheck.chain.subjects import subjects

    found = subjects(evidence, (lambda one: names_device(adapter, one, evidence)) if adapter else None)
    indexed = context(evidence, found, inside(evidence))
    devices = [one.device for one in found if one.device is not None]
    labels = "; ".join(one.label for one in found if one.device is not None) or "none"
    if adapter is not None:
        devices = [one for one in devices if names_device(adapter, one, evidence)]
        if len(devices) != 1:
            many = f"{len(devices)} adapters are" if devices else "No adapter here is"
            raise Unusable(f"{many} called `{adapter}`. Adapters in this evidence: {labels}.")
    if len(devices) > 1:
        raise Unusable(f"There are {len(devices)} adapters: {labels}. Choose one with --adapter.")
    return indexed, devices[0] if devices else None


def _completed(house: Asked | None, tried: Changes, evidence: Evidence) -> Asked:
    """What the site, the options and the machine's own Wi-Fi say."""
    from msgspec.structs import replace

    from radiocheck.chain.air_build import Asked
    from radiocheck.chain.wifi_heard import networks
    from radiocheck.radio.plan import Plan

    house = house or Asked(plan=Plan(None, None))
    whole, survey_from = house.plan, house.survey_from
    if whole.networks is None and (heard := networks(evidence)) is not None:
        whole, survey_from = replace(whole, networks=heard), "evidence"
    if whole.channel is None and tried.channel is not None:  # nothing to compare with: it is told, not tried
        whole, tried = replace(whole, channel=tried.channel), replace(tried, channel=None)
    return replace(
        house, plan=whole, survey_from=survey_from, changes=tried, missing=_missing(evidence, survey_from is None)
    )


def _missing(evidence: Evidence, wifi: bool) -> list[Missing]:
    """What would tell more of the neighbours and, when nobody gave a survey, of Wi-Fi."""
    kinds = ("usb", "ports", "wifi") if wifi else ("usb", "ports")
    lacking = [gap for gap in evidence.gaps if gap.what.startswith(kinds) and not gap.what.endswith(ELSEWHERE)]
    if not lacking:
        return []
    from radiocheck.chain.finding import explain

    return explain(list(dict.fromkeys(gap.what for gap in lacking)), lacking)


def _changes(channel: str | None, extension: str | None, move_wifi: str | None, noise: str | None) -> Changes:
    """The options' words as numbers, before anything is read.  Raises `Unusable`."""
    from radiocheck.air.quantity import CHANGE, EXTENSION
    from radiocheck.air.site import mesh_channel, wifi_channel
    from radiocheck.chain.air_change import Changes

    name, _, number = (move_wifi or "").rpartition(":")
    return Changes(
        channel=_read("--channel", channel, mesh_channel),
        extension_m=_read("--extension", extension, EXTENSION.read),
        wifi_channel=_read("--move-wifi", number if move_wifi is not None else None, wifi_channel),
        wifi_name=name or None,
        noise_db=_read("--noise", noise, CHANGE.read),
    )


def _read(option: str, text: str | None, understood: Callable[[str], Value]) -> Value | None:
    """An option's value; complaints name the option.  Raises `Unusable`."""
    try:
        return None if text is None else understood(text)
    except ValueError as error:
        raise Unusable(f"{option}: {error}") from None


def _status(report: AirReport) -> int:
    states = {answer.state for answer in report.answers}
    if states <= {"unseen"}:
        return NOT_ENOUGH
    return 1 if states & {"bad", "costly"} else 0
