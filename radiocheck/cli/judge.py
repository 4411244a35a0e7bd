"""`radiocheck judge`: judge evidence that was saved, here or elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from . import reading
from .given import configurations, stdin_used, with_given
from .options import conclude, judging
from .status import EXIT_HELP, Unusable

if TYPE_CHECKING:
    from radiocheck.evidence.record import Evidence


@click.command(short_help="Judge evidence that was saved.", epilog=EXIT_HELP)
@click.argument("file")
@judging
@configurations
@click.pass_context
def judge(context: click.Context, /, file: str, user: str | None, **asked: Any) -> None:
    """Judge the evidence in FILE, which `radiocheck capture` made; - is standard input.

    The verdict is the one that `radiocheck check` gives on the machine it came from.
    """
    if file == "-" and asked["guest"] is not None and asked["guest"][1] == reading.STDIN:
        raise Unusable("only one of both captures can come from standard input; name the other file")
    if file == "-" and stdin_used(context):
        raise Unusable("standard input is the capture or a configuration, not both; name a file for one of them")
    evidence, name = reading.evidence(file)
    if user is not None:
        evidence = _for_user(evidence, user, name)
    conclude(context, with_given(context, evidence), **asked)


def _for_user(evidence: Evidence, user: str, name: str) -> Evidence:
    """The evidence with that account as the one whose rights count."""
    from msgspec import UnsetType
    from msgspec.structs import replace

    users = [] if isinstance(evidence.users, UnsetType) else evidence.users
    if not any(account.name == user for account in users):
        raise Unusable(f"{name}: knows nothing of the account {user}; capture again with --user {user}")
    return replace(evidence, users=[replace(account, asked=account.name == user) for account in users])
