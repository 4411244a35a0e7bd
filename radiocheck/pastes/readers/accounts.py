"""`id`, `groups`, `getent group`: whose rights count (coreutils: "uid=1000(mira) gid=1000(mira) groups=…")."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.pastes.broken import is_cut
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "id"

# The word for groups is translated, in Dutch also the others; the numbers are not.
_ID = re.compile(
    r"\buid=(?P<uid>\d{1,10})(?:\((?P<name>[^)\s]{1,64})\))? gid=(?P<gid>\d{1,10})(?:\((?P<group>[^)\s]{1,64})\))?"
    r"(?P<rest>.*)$",
    re.IGNORECASE,
)
_GROUPS_OF_ID = re.compile(r"^ (?:\w{1,4}=\d{1,10}\S{0,70} ){0,2}[^\W\d]{1,12}=(?P<groups>\d.{0,3000})$")
_EACH = re.compile(r"^\d{1,10}(?:\([^()]{1,64}\))?(?:,\d{1,10}(?:\([^()]{1,64}\))?){0,80}$")
_ONE = re.compile(r"(?P<gid>\d{1,10})(?:\((?P<name>[^()]{1,64})\))?")
_NAME = r"[a-z_][\w.-]{0,31}"
_GROUPS = re.compile(rf"^(?:(?P<name>{_NAME}) : )?(?P<groups>{_NAME}(?: {_NAME}){{0,60}})$")
_GETENT = re.compile(rf"^(?P<group>{_NAME}):[x*!]:(?P<gid>\d{{1,10}}):(?P<members>[\w.,-]{{0,400}})$")
_KNOWN = {"dialout", "uucp", "plugdev", "sudo", "adm", "wheel", "tty", "users", "cdrom", "audio", "video", "lpadmin"}
_PORTS = {"dialout", "uucp", "plugdev", "tty", "kvm", "libvirt", "usb", "serial"}
_ASKED = re.compile(r"(?:groups|id -n?Gn?)\b\s*(?P<of>[a-z_][\w.-]{0,31})?\s*$")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """An account with its groups, by number and by name.

    `group_ids` has the numbers of groups; `some_group_names` are groups that an account has
    among others that are not told.
    """
    asked: re.Match[str] | None = None
    for index, line in enumerate(lines):
        text = line.text.strip()
        if line.prompt is not None:
            asked = _ASKED.match(line.prompt.strip())
        elif len(text) < 4000 and (match := _ID.search(text)):
            following = lines[index + 1] if index + 1 < len(lines) else None
            yield from _user(match, line, following)
        elif len(text) < 500 and (match := _GETENT.match(text)):
            yield from _group(match, line)
        elif len(text) < 1000 and (match := _GROUPS.match(text)):
            names = match["groups"].split()
            # Prose has words too: only behind the command, or with groups that every system has.
            known = len(_KNOWN & set(names))
            if asked is not None or known >= 3 or (match["name"] and known):
                name = match["name"] or (asked["of"] if asked is not None else None)
                yield Piece("user", (line.number,), {"name": name, "group_names": names})
            asked = None
        elif text:
            asked = None


def _user(match: re.Match[str], line: Line, following: Line | None) -> Iterator[Piece]:
    """An account; its groups only when the list of them ends where it should."""
    user: dict[str, Any] = {"uid": int(match["uid"])}
    if match["name"]:
        user["name"] = match["name"]
    numbers: tuple[int, ...] = (line.number,)
    rest = match["rest"].rstrip()
    told = _groups(rest)
    if told is None and following is not None and following.prompt is None and not is_cut(rest):
        told = _groups(rest + following.text.strip())  # a terminal broke it here
        if told is not None:
            numbers = (line.number, following.number)
    if told is not None:
        groups = {int(match["gid"]): match["group"], **told}
        user["groups"] = sorted(groups)
        user["group_names"] = [name for name in groups.values() if name]
        user["group_ids"] = {name: number for number, name in groups.items() if name}
    yield Piece("user", numbers, user)


def _groups(rest: str) -> dict[int, str | None] | None:
    """Groups by number; None when the text breaks off inside of them."""
    match = _GROUPS_OF_ID.match(rest.partition(" context=")[0])
    if match is None or not _EACH.match(match["groups"]):
        return None
    return {int(one["gid"]): one["name"] for one in _ONE.finditer(match["groups"])}


def _group(match: re.Match[str], line: Line) -> Iterator[Piece]:
    """A line of the group database: its members have this group, and others."""
    if match["group"] not in _PORTS:
        return
    for member in match["members"].split(",")[:40]:
        if member:
            value = {"name": member, "some_group_names": [match["group"]]}
            value["group_ids"] = {match["group"]: int(match["gid"])}
            yield Piece("user", (line.number,), value)
