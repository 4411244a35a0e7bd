"""`radiocheck capture`: save what is seen of this machine."""

from __future__ import annotations

import click

from . import options
from .given import configurations, with_given
from .monitor import answers, monitors, with_answers
from .status import Unusable


@click.command(short_help="Save the evidence of this machine.")
@click.argument("file")
@options.user
@monitors
@configurations
@click.option("--replace", is_flag=True, help="Replace FILE when it exists.")
@click.pass_context
def capture(context: click.Context, /, file: str, user: str | None, sockets: tuple[str, ...], replace: bool) -> None:
    """Save the evidence of this machine in FILE for `radiocheck judge`; - is standard output.

    The file names devices, serial numbers, accounts, VMs and processes of this machine,
    so only you can read it.  It is complete or it is not there.
    """
    from .saving import may_save, save_file

    if file != "-":
        may_save(file, replace)

    from radiocheck.evidence.store import save
    from radiocheck.sources.machine import Machine
    from radiocheck.sources.probe import probe

    machine = Machine(user=user)
    told = answers(sockets, machine)
    data = save(with_given(context, with_answers(probe(machine), told)))
    if file != "-":
        save_file(file, data, replace)
        click.echo(f"Saved in {click.format_filename(file)}. Judge it with `radiocheck judge`.", err=True)
        return

    import sys

    from .output import write

    if sys.stdout is None:
        raise Unusable("standard output is closed; name a file")
    write(data.decode("ascii"))
