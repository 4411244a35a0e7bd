"""`radiocheck check`: probe this machine and judge it."""

from __future__ import annotations

from typing import Any

import click

from .options import conclude, judging
from .status import EXIT_HELP


@click.command(short_help="Probe this machine and judge it.", epilog=EXIT_HELP)
@judging
@click.pass_context
def check(context: click.Context, /, user: str | None, **asked: Any) -> None:
    """Check the path of each radio adapter on this machine.

    Root sees more: without it, the report says what could not be seen.
    """
    from radiocheck.sources.machine import Machine
    from radiocheck.sources.probe import probe

    conclude(context, probe(Machine(user=user)), **asked)
