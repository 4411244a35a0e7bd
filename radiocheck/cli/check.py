"""`radiocheck check`: probe this machine and judge it."""

from __future__ import annotations

from typing import Any

import click

from .given import configurations, with_given
from .monitor import answers, monitors, with_answers
from .options import conclude, judging
from .status import EXIT_HELP


@click.command(short_help="Probe this machine and judge it.", epilog=EXIT_HELP)
@judging
@monitors
@configurations
@click.pass_context
def check(context: click.Context, /, user: str | None, sockets: tuple[str, ...], **asked: Any) -> None:
    """Check the path of each radio adapter on this machine.

    Root sees more: without it, the report says what could not be seen.
    """
    from radiocheck.sources.machine import Machine
    from radiocheck.sources.probe import probe

    machine = Machine(user=user)
    told = answers(sockets, machine)  # first: a socket that is none is told at once
    conclude(context, with_given(context, with_answers(probe(machine), told)), **asked)
