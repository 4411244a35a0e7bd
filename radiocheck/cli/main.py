"""The command line: the group of commands, and what happens when something goes wrong.

Imports here and in the command files stay at click: everything else is imported inside
the command that needs it, so that `--help` answers at once.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Sequence

import click

from radiocheck import __version__

from .air import air
from .capture import capture
from .check import check
from .judge import judge
from .output import Closed, silence
from .rules import rules
from .status import EXIT_HELP, INTERRUPTED, UNUSABLE

DEBUG = "RADIOCHECK_DEBUG"


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    epilog=EXIT_HELP,
)
@click.version_option(__version__, "--version", prog_name="radiocheck", message="%(prog)s %(version)s")
def cli() -> None:
    """Name the broken step between a USB radio adapter and the virtual machine that uses it.

    radiocheck only reads: it opens no serial port, changes nothing and sends nothing.
    """


for command in (check, capture, judge, air, rules):
    cli.add_command(command)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status; prints a sentence, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if stream is not None and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        return _run(list(sys.argv[1:] if arguments is None else arguments))
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:  # our own bug: the person gets a sentence and can help
        if os.environ.get(DEBUG):
            raise
        _tell(
            f"radiocheck itself failed ({type(error).__name__}: {error}). Please save the evidence with "
            f"`radiocheck capture FILE` and report it; {DEBUG}=1 shows where it happened."
        )
        return UNUSABLE


def _run(arguments: list[str]) -> int:
    try:
        with cli.make_context("radiocheck", arguments) as context:
            cli.invoke(context)
        return 0
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.UsageError as error:
        _show(error)
        return UNUSABLE
    except click.ClickException as error:
        _tell(error.format_message())
        return UNUSABLE
    except click.Abort:
        return INTERRUPTED
    except (BrokenPipeError, Closed):  # nobody reads on: help and version go through here
        return 0
    finally:
        silence()


def _show(error: click.UsageError) -> None:
    """A usage error in click's own form."""
    shown = io.StringIO()
    error.show(shown)
    _tell(shown.getvalue().rstrip("\n"))


def _tell(sentence: str) -> None:
    """Say it on standard error, with nothing in it that could steer a terminal."""
    from radiocheck.report.escape import escape

    with contextlib.suppress(OSError):  # nobody to tell
        click.echo("\n".join(escape(line) for line in sentence.split("\n")), err=True)
