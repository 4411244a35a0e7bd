"""`radiocheck capture`: save what is seen of this machine."""

from __future__ import annotations

import click

from . import options
from .status import Unusable


@click.command(short_help="Save the evidence of this machine.")
@click.argument("file")
@options.user
@click.option("--replace", is_flag=True, help="Replace FILE when it exists.")
def capture(file: str, user: str | None, replace: bool) -> None:
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

    data = save(probe(Machine(user=user)))
    if file != "-":
        save_file(file, data, replace)
        click.echo(f"Saved in {click.format_filename(file)}. Judge it with `radiocheck judge`.", err=True)
        return

    import sys

    from .output import write

    if sys.stdout is None:
        raise Unusable("standard output is closed; name a file")
    write(data.decode("ascii"))
