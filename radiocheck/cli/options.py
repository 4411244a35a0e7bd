"""Options that several commands share, and the way from evidence to exit status."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from . import reading
from .output import coloured, only_ascii, width, write
from .status import VERDICTS, Unusable

if TYPE_CHECKING:
    from radiocheck.chain.rule import RuleSet
    from radiocheck.evidence.record import Evidence

    from .judging import Case

Command = TypeVar("Command", bound=Callable[..., Any])

FOLDER = click.Path(exists=True, file_okay=False)

user = click.option("--user", metavar="NAME", help="Whose rights count on this host (default: yours).")
ascii_only = click.option("--ascii", "ascii", is_flag=True, help="Use ASCII characters only.")
own_rules = click.option(
    "--rules", "folders", type=FOLDER, multiple=True, metavar="DIR", help="Your own rules, beside the shipped ones."
)


def _captured(_: click.Context, __: click.Parameter, file: str | None) -> tuple[Evidence, str] | None:
    """The capture that an option names, and its name; read first, since a probe takes longer."""
    return reading.evidence(file) if file is not None else None


def judging(command: Command) -> Command:
    """The options of commands that give a verdict."""
    for option in reversed(
        (
            click.option("--adapter", metavar="A", help="Only this one: serial number, by-id name, port or VID:PID."),
            click.option("--vm", metavar="NAME", help="Only adapters that this VM is to have."),
            click.option(
                "--guest",
                metavar="FILE",
                callback=_captured,
                help="Join what `radiocheck capture FILE` saved inside the VM.",
            ),
            user,
            click.option("--site", metavar="FILE", help="Your house: channel, Wi-Fi, walls and devices (air.yaml)."),
            click.option("--channel", metavar="N", help="Channel of the mesh, 11 to 26, in place of the site's."),
            click.option(
                "--format",
                "form",
                type=click.Choice(["text", "json", "paste"]),
                default="text",
                help="Text for people (default), JSON for programs, or a report to paste into a forum or chat, "
                "without private names.",
            ),
            click.option("--reveal", is_flag=True, help="With --format paste: keep private names and numbers."),
            click.option("--no-colour", is_flag=True, help="Use no colour (so does the variable NO_COLOR)."),
            ascii_only,
            own_rules,
        )
    ):
        command = option(command)
    return command


def load_rules(folders: Sequence[str]) -> RuleSet:
    """The shipped rules and those of the folders.  Raises `Unusable` with every complaint."""
    from pathlib import Path

    from radiocheck.chain.rules import RuleError, load, shipped

    try:
        return load([shipped(), *map(Path, folders)])
    except RuleError as error:
        raise Unusable(str(error)) from None


def conclude(
    context: click.Context,
    evidence: Evidence,
    *,
    adapter: str | None,
    vm: str | None,
    guest: tuple[Evidence, str] | None,
    site: str | None,
    channel: str | None,
    form: str,
    reveal: bool,
    no_colour: bool,
    ascii: bool,
    folders: Sequence[str],
    case: Case | None = None,
) -> None:
    """Judge the evidence, print the report and exit with the verdict's status.  `case`: the file that it is from."""
    from radiocheck.chain.judge import NoSuchAdapter, Only, judge
    from radiocheck.chain.pair import NotAGuest

    from .judging import with_reasons, without_quotes

    rules = load_rules(folders)
    inner, name = guest or (None, "")
    air = None
    if site is not None or channel is not None:
        from .site import given

        if form == "paste":
            raise Unusable("a paste holds what was seen of the machine, not your house: leave out --site and --channel")
        air = given(site, channel)
    used, removed = None, None
    if form == "paste":
        from radiocheck.evidence.posted import Posted

        from .posting import prepared, written

        used, removed = prepared(Posted(evidence=evidence, guest=inner, adapter=adapter, vm=vm, revealed=reveal))
        evidence, inner, adapter, vm = used.evidence, used.guest, used.adapter, used.vm
    elif reveal:
        raise Unusable("--reveal belongs to --format paste: the other formats replace nothing")
    try:
        only = Only(adapter=adapter, vm=vm) if adapter or vm else None
        report = judge(evidence, rules, only, inner, air)
        if case is not None:
            report = with_reasons(report, case, lambda part: judge(part, rules, only, inner, air))
            if form == "paste" and not reveal:
                report = without_quotes(report)
    except NotAGuest as error:
        raise Unusable(f"{name}: {error}") from None
    except NoSuchAdapter as error:
        raise Unusable(str(error)) from None
    if used is not None:
        write(written(report, used, removed, bool(folders)))
    elif form == "json":
        from radiocheck.report.machine import encoded

        write(encoded(report))
    else:
        from radiocheck.report.text import text

        write(text(report, width(), coloured(no_colour), only_ascii(ascii)))
    context.exit(VERDICTS[report.verdict.state])
