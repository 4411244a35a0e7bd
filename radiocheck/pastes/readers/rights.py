"""`getfacl` and `stat` of a node: owner, mode and the entries of its ACL (acl(5); GNU coreutils, stat(1))."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.evidence.serial import AclEntry, Node
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "getfacl or stat"

_TTY = re.compile(r"^/dev/(?P<name>tty(?:USB|ACM)\d{1,4})$")
_ACL_FILE = re.compile(r"^# file: /?(?P<path>dev/(?:tty(?:USB|ACM)\d{1,4}|bus/usb/\d{3}/\d{3}))$")
_ACL_OWNER = re.compile(r"^# (?P<which>owner|group): (?P<name>\S{1,32})$")
_ACL_ENTRY = re.compile(r"^(?P<tag>user|group|mask|other):(?P<name>[^:\s]{0,32}):(?P<perms>[r-][w-][x-])(?:\s.*)?$")
_STAT = re.compile(r"^\S{1,12}: ['\"]?(?P<path>/dev/(?:tty(?:USB|ACM)\d{1,4}|bus/usb/\d{3}/\d{3}))['\"]?$")
# coreutils 9.1 prints numbers in decimal, `Device: 0,6`; older ones in hexadecimal, `Device: 5h/5d` (from memory).
_STAT_TYPE = re.compile(r": (?P<major>[0-9a-f]{1,3}),(?P<minor>[0-9a-f]{1,5})$")
_STAT_HEX = re.compile(r"[0-9a-f]{1,8}h/\d{1,10}d\b")
_STAT_MODE = re.compile(
    r"\((?P<octal>[0-7]{4})/(?P<mode>c[rwxsStT-]{9})\)\s+Uid: \(\s{0,5}(?P<uid>\d{1,10})/\s{0,12}(?P<owner>\S{1,32})\)"
    r"\s+Gid: \(\s{0,5}(?P<gid>\d{1,10})/\s{0,12}(?P<group>\S{1,32})\)"
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """A tty or a USB node with its rights."""
    yield from _acls(lines)
    yield from _stats(lines)


def _acls(lines: Sequence[Line]) -> Iterator[Piece]:
    """`getfacl`: the owner, the mode and the entries of a node; without a mask the mode says all."""
    path: str | None = None
    numbers: list[int] = []
    owners: dict[str, str] = {}
    entries: list[dict[str, Any]] = []
    for line in [*lines, Line(0, "")]:
        text = line.text.strip()
        if path is not None and (match := _ACL_OWNER.match(text)):
            owners[match["which"]] = match["name"]
        elif path is not None and (match := _ACL_ENTRY.match(text)):
            perms = sum(1 << (2 - place) for place, letter in enumerate(match["perms"]) if letter != "-")
            entries.append({"tag": match["tag"], "name": match["name"] or None, "perms": perms})
        else:
            if path is not None and any(entry["tag"] == "other" for entry in entries):
                yield _with_acl(path, owners, entries, tuple(numbers))
            match = _ACL_FILE.match(text)
            path, numbers, owners, entries = (f"/{match['path']}" if match else None), [], {}, []
        if path is not None:
            numbers.append(line.number)


def _with_acl(path: str, owners: dict[str, str], entries: list[dict[str, Any]], numbers: tuple[int, ...]) -> Piece:
    tags = {("user", None): "owner", ("group", None): "group-owner"}
    told = [
        AclEntry(tag=tags.get((entry["tag"], entry["name"]), entry["tag"]), name=entry["name"], perms=entry["perms"])
        for entry in entries
    ]
    by_tag = {entry.tag: entry.perms for entry in told if entry.name is None}
    extended = any(entry.name is not None or entry.tag == "mask" for entry in told)
    # The bits for the group in the mode are those of the mask, where there is one (acl(5)).
    group = by_tag.get("mask", by_tag.get("group-owner", 0))
    mode = by_tag.get("owner", 0) << 6 | group << 3 | by_tag.get("other", 0)
    node = Node(path=path, mode=mode, acl=told if extended else None, **owners)  # type: ignore[arg-type]  # owner and group are texts
    return _piece(numbers, node)


def _piece(numbers: tuple[int, ...], node: Node) -> Piece:
    if tty := _TTY.match(node.path):
        return Piece("tty", numbers, {"name": tty["name"], "node": node})
    return Piece("usb_node", numbers, node)


def _stats(lines: Sequence[Line]) -> Iterator[Piece]:
    """`stat`: three or four lines after the name of the file."""
    path: str | None = None
    numbers: list[int] = []
    numbers_of: re.Match[str] | None = None
    for line in lines:
        text = line.text.strip()
        if len(text) < 100 and (match := _STAT.match(text)):
            path, numbers, numbers_of = match["path"], [line.number], None
        elif path is None or line.number > numbers[0] + 5:
            path = None
        elif match := _STAT_MODE.search(text[:200]):
            node: dict[str, Any] = {"path": path, "mode": int(match["octal"], 8), "owner": match["owner"]}
            node |= {"group": match["group"], "uid": int(match["uid"]), "gid": int(match["gid"])}
            if numbers_of is not None:
                node |= _numbers(numbers_of)
            found = (*numbers, line.number)
            tty = _TTY.match(path)
            yield (
                Piece("tty", found, {"name": tty["name"], "node": Node(**node)})
                if tty
                else Piece("usb_node", found, Node(**node))
            )
            path = None
        elif match := _STAT_TYPE.search(text[:200]):
            numbers_of = match
            numbers.append(line.number)


def _numbers(match: re.Match[str]) -> dict[str, int]:
    """Major and minor number, in the base that the line's beginning shows."""
    words = match["major"], match["minor"]
    if _STAT_HEX.search(match.string[:100]):
        return {"major": int(words[0], 16), "minor": int(words[1], 16)}
    return {"major": int(words[0]), "minor": int(words[1])} if all(word.isdecimal() for word in words) else {}
