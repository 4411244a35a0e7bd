"""Ttys, links, accounts and holders of a paste, with the numbers that the chain compares them by."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from msgspec import UNSET, Struct, field
from msgspec.structs import replace

from radiocheck.evidence.serial import FROM_PORT, AppMessage, Handle, Link, Node, Tty, User

TTY = re.compile(r"/dev/(tty(?:USB|ACM)\d{1,4})")
PORT = re.compile(r"/dev/(?:tty(?:USB|ACM)\d|serial/)")  # how a USB serial port, or a link to one, begins
USB_NODE = re.compile(r"/dev/bus/usb/(\d{1,3})/(\d{1,3})")
# Documentation/admin-guide/devices.txt; include/linux/usb.h, USB_DEVICE_MAJOR
_MAJORS = {"ttyUSB": 188, "ttyACM": 166}
_USBFS = 189
_HYPERVISOR = re.compile(r"qemu|kvm$|kvm-|Virtualization")
# An answer of the kernel that only a node that is there can give.
_ANSWERS = frozenset({"denied", "not-permitted", "busy", "io-error", "no-answer"}) | FROM_PORT
NOBODY = "the person"  # whose name was not seen
_INVENTED = 1000  # accounts whose number was not seen get negative ones from here on


class Names(Struct):
    """Numbers of accounts or groups, one for each name; invented ones are negative, so that they are no real one."""

    known: dict[str, int] = field(default_factory=lambda: {"root": 0})

    def number(self, name: str) -> int:
        """The number of a name."""
        if name.isdigit() and len(name) < 11:
            return int(name)
        return self.known.setdefault(name, -_INVENTED - len(self.known))


def number_of(path: str) -> tuple[int, int] | None:
    """Major and minor number of a node by its name, as the kernel gives them."""
    if match := TTY.fullmatch(path):
        name = match[1]
        return _MAJORS[name[:6]], int(name[6:])
    if match := USB_NODE.fullmatch(path):
        return _USBFS, (int(match[1]) - 1) * 128 + int(match[2]) - 1  # drivers/usb/core/hub.c, usb_new_device
    return None


def users(values: Sequence[dict[str, Any]], accounts: Names, groups: Names) -> list[User]:
    """Accounts, by name; the person who pasted is the first that is not root.  The last word about each counts.

    What `id` prints is of the person's running shell; the group database may give more
    (`some_group_names`), which counts from the next login on.
    """
    found: dict[str, dict[str, Any]] = {}
    for value in values:
        one = found.setdefault(value.get("name") or NOBODY, {"more": set()})
        one |= {key: item for key, item in value.items() if item is not None}
        one["more"] |= set(value.get("some_group_names", []))
        groups.known.update(value.get("group_ids", {}))
    if len(found) == 2 and NOBODY in found:  # `groups` names nobody
        nameless = found.pop(NOBODY)
        found[next(iter(found))] |= {key: item for key, item in nameless.items() if key not in ("name", "more")}
    made = []
    for name, value in found.items():
        if "uid" in value:
            accounts.known[name] = value["uid"]
        own = {groups.number(one) for one in value.get("group_names", [])} | set(value.get("groups", []))
        account = User(name=name, uid=accounts.number(name), exists=True)
        if own:
            more = own | {groups.number(one) for one in value["more"]}
            account = replace(account, groups=sorted(more), session_groups=sorted(own))
        made.append(account)
    asked = next((one for one in made if one.uid != 0), made[0] if made else None)
    return [replace(one, asked=one is asked) for one in made]


def node(found: Node, accounts: Names, groups: Names) -> Node:
    """A node with the numbers of its owner, its group and itself."""
    changes: dict[str, Any] = {}
    if found.uid is UNSET and isinstance(found.owner, str):
        changes["uid"] = accounts.number(found.owner)
    if found.gid is UNSET and isinstance(found.group, str):
        changes["gid"] = groups.number(found.group)
    if found.major is UNSET and (numbers := number_of(found.path)):
        changes["major"], changes["minor"] = numbers
    return replace(found, **changes)


def ttys(
    values: Sequence[dict[str, Any]],
    messages: Sequence[AppMessage],
    names: Iterable[str],
    accounts: Names,
    groups: Names,
) -> list[Tty]:
    """Ttys that were listed, that a program got an answer from, or that the log saw."""
    found: dict[str, dict[str, Any]] = {}
    for value in values:
        one = found.setdefault(value["name"], {"name": value["name"]})
        one |= value
    for message in messages:
        match = TTY.fullmatch(message.path or "")
        if match and message.kind in _ANSWERS:
            found.setdefault(match[1], {"name": match[1]})
    for name in names:
        found.setdefault(name, {"name": name})
    made = []
    for name, one in found.items():
        listed = one.get("node")
        one["node"] = node(listed if isinstance(listed, Node) else Node(path=f"/dev/{name}"), accounts, groups)
        made.append(Tty(**{key: item for key, item in one.items() if key in Tty.__struct_fields__}))
    return made


def handles(
    values: Sequence[dict[str, Any]], links: Sequence[Link], hypervisors: set[int], accounts: Names
) -> list[Handle]:
    """Holders; a link is followed to its node, and the node's numbers are those of its name."""
    targets = {one.path: f"/dev/{one.target}" for one in links if isinstance(one.target, str)}
    found: dict[tuple[int, str], dict[str, Any]] = {}
    for value in values:
        path = targets.get(value["path"], value["path"])
        one = found.setdefault((value["pid"], path), {})
        one |= {key: item for key, item in value.items() if item is not None} | {"path": path}
    made = []
    for one in found.values():
        one.setdefault("command", f"process {one['pid']}")
        if "major" not in one and (numbers := number_of(one["path"])):
            one["major"], one["minor"] = numbers
        if isinstance(one.get("user"), str):
            one.setdefault("uid", accounts.number(one["user"]))
        one.setdefault("hypervisor", one["pid"] in hypervisors or bool(_HYPERVISOR.match(one["command"])))
        made.append(Handle(**{key: item for key, item in one.items() if key in Handle.__struct_fields__}))
    return made


def links(found: Sequence[Link]) -> list[Link]:
    """Links by path; the last word about each counts."""
    return list({one.path: one for one in found}.values())
