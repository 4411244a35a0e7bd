"""`radiocheck judge`: judge evidence that was saved, here or elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from . import reading
from .given import configurations, stdin_used, with_given
from .many import are_many, judge_many
from .options import conclude, judging
from .status import EXIT_HELP, Unusable

if TYPE_CHECKING:
    from radiocheck.evidence.posted import Posted
    from radiocheck.evidence.record import Evidence


@click.command(short_help="Judge evidence that was saved.", epilog=EXIT_HELP)
@click.argument("files", metavar="FILE...", nargs=-1, required=True)
@click.option("--jobs", metavar="N", type=click.IntRange(1), help="Processes for many files (default: all cores).")
@judging
@configurations
@click.pass_context
def judge(context: click.Context, /, files: Sequence[str], jobs: int | None, user: str | None, **asked: Any) -> None:
    """Judge the evidence in FILE, which `radiocheck capture` made; - is standard input.

    FILE may also be a text that holds a report made with --format paste, whatever stands
    around it.  The verdict is the one that `radiocheck check` gives on the machine it came from.

    FILE may also be any text that a person pasted: output of lsusb, dmesg, ls -l, virsh and many
    others, with prose around it.  The answer then quotes the lines that say so, and names the
    commands to ask for.

    Several files, or a folder (with the folders in it): one line for each, then the steps and
    rules with their numbers. With --format json, one object per line.
    """
    if are_many(files):
        judge_many(context, files, jobs, asked["form"], asked["folders"], asked["no_colour"], asked["ascii"])
    from radiocheck.evidence.store import LIMIT

    from .judging import case

    file = files[0]
    if file == "-" and asked["guest"] is not None and asked["guest"][1] == reading.STDIN:
        raise Unusable("only one of both captures can come from standard input; name the other file")
    if file == "-" and stdin_used(context):
        raise Unusable("standard input is the capture or a configuration, not both; name a file for one of them")
    found = case(*reading.read(file, LIMIT, "a capture, or a text that somebody pasted"))
    evidence = found.posted.evidence if user is None else _for_user(found.posted.evidence, user, found.name)
    asked = _as_posted(asked, found.posted, found.name)
    conclude(context, with_given(context, evidence), case=found, **asked)


def _as_posted(asked: dict[str, Any], found: Posted, name: str) -> dict[str, Any]:
    """What was asked, and else what the pasted report was about."""
    if asked["guest"] is None and found.guest is not None:
        asked = {**asked, "guest": (found.guest, name)}
    if asked["adapter"] is None and asked["vm"] is None:
        asked = {**asked, "adapter": found.adapter, "vm": found.vm}
    return asked


def _for_user(evidence: Evidence, user: str, name: str) -> Evidence:
    """The evidence with that account as the one whose rights count."""
    from msgspec import UnsetType
    from msgspec.structs import replace

    users = [] if isinstance(evidence.users, UnsetType) else evidence.users
    if not any(account.name == user for account in users):
        raise Unusable(f"{name}: knows nothing of the account {user}; capture again with --user {user}")
    return replace(evidence, users=[replace(account, asked=account.name == user) for account in users])
