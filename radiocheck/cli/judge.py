"""`radiocheck judge`: judge evidence that was saved, here or elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from . import reading
from .given import configurations, stdin_used, with_given
from .options import conclude, judging
from .status import EXIT_HELP, Unusable

if TYPE_CHECKING:
    from radiocheck.evidence.posted import Posted
    from radiocheck.evidence.record import Evidence


@click.command(short_help="Judge evidence that was saved.", epilog=EXIT_HELP)
@click.argument("file")
@judging
@configurations
@click.pass_context
def judge(context: click.Context, /, file: str, user: str | None, **asked: Any) -> None:
    """Judge the evidence in FILE, which `radiocheck capture` made; - is standard input.

    FILE may also be a text that holds a report made with --format paste, whatever stands
    around it.

    The verdict is the one that `radiocheck check` gives on the machine it came from.
    """
    if file == "-" and asked["guest"] is not None and asked["guest"][1] == reading.STDIN:
        raise Unusable("only one of both captures can come from standard input; name the other file")
    if file == "-" and stdin_used(context):
        raise Unusable("standard input is the capture or a configuration, not both; name a file for one of them")
    found, name = reading.posted(file)
    evidence = found.evidence if user is None else _for_user(found.evidence, user, name)
    conclude(context, with_given(context, evidence), **_as_posted(asked, found, name))


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
