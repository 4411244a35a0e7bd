"""`radiocheck rules`: read the rules, or check rule files."""

from __future__ import annotations

from collections.abc import Sequence

import click

from . import options
from .output import only_ascii, width, write
from .status import UNUSABLE, Unusable

WIDEST = 100  # columns


@click.command(
    short_help="Read the rules, or check rule files.", epilog="Exit status of --check: 0 without complaints, 2 with."
)
@click.argument("name", required=False)
@click.option("--check", "folder", type=options.FOLDER, metavar="DIR", help="Check the rule files in DIR.")
@options.own_rules
@options.ascii_only
@click.pass_context
def rules(context: click.Context, name: str | None, folder: str | None, folders: Sequence[str], ascii: bool) -> None:
    """List the rules by step, or show the rule NAME as a page."""
    ascii = only_ascii(ascii)
    if folder is not None:
        if name is not None:
            raise click.UsageError("NAME and --check do not go together")
        from pathlib import Path

        from radiocheck.chain.rule_check import check
        from radiocheck.report.page import complaints

        found = check(Path(folder))
        write(complaints(found, ascii) if found else "No complaints.\n")
        context.exit(UNUSABLE if found else 0)

    from radiocheck.report.page import listing, page

    known = options.load_rules(folders)
    columns = min(width(), WIDEST)
    if name is None:
        write(listing(known, columns, ascii))
        return
    if name not in known.rules:
        from difflib import get_close_matches

        near = get_close_matches(name, known.rules, 1)
        hint = f"did you mean {near[0]}?" if near else "`radiocheck rules` lists them"
        raise Unusable(f"there is no rule {name}; {hint}")
    write(page(known.rules[name], known, columns, ascii))
