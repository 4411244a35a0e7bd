"""Facts about the node that a container is given, when radiocheck runs inside one.

A container's account database says little about its processes: their groups are set by
whoever started the container.  What the kernel answered to radiocheck's own process, or
the groups of the account's running process, count instead.
"""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.container import ContainerNode
from radiocheck.evidence.serial import Node, Tty

from .context import Context
from .rights import may_open

# Outside of containers, and for an adapter without a tty, there is nothing of all this.
_NOTHING: dict[str, Any] = {
    "tty_major": None,
    "tty_minor": None,
    "container_path": None,
    "container_other": None,
    "container_number": None,
    "container_old_number": False,
    "container_removed": False,
    "container_mount": None,
    "container_nodev": False,
    "container_refused": None,
    "container_listed": None,
    "container_mode_refuses": False,
    "container_gid": None,
}


def node_of(context: Context, tty: Tty | None, name: str | None) -> Node | None:
    """The node that counts for a tty: in a container what it is given, whatever its name there."""
    if _outside(context):
        return tty.node if tty is not None and known(tty.node) else None
    entry = _entry(context, name)
    return entry.node if entry is not None and known(entry.node) else None


def container_facts(context: Context, name: str | None) -> dict[str, Any]:
    """The `container_…` fields of `AccessFacts` for the tty of that name, and the user's rights inside."""
    if _outside(context):
        host = context.evidence.host
        return _NOTHING if known(host) and host.container is None else {}
    entry = _entry(context, name)
    if entry is None:
        nothing = _NOTHING if name is None and known(context.evidence.container_nodes) else {}
        return nothing | _account(context, None)
    facts: dict[str, Any] = {
        **_NOTHING,
        **_account(context, entry),
        "container_mode_refuses": UNSET,
        "tty_major": entry.major,
        "tty_minor": entry.minor,
        "container_other": _other(context, entry),
        "container_mount": entry.mount,
        "container_nodev": entry.nodev,
        "container_removed": entry.removed,
        "container_refused": entry.refused,
        "container_listed": entry.listed,
    }
    if entry.node is None:
        gone = ("container_nodev", "container_removed", "container_mode_refuses")
        return facts | dict.fromkeys(gone, False) | {"container_refused": None}
    if not known(entry.node):
        own = ("container_path", "container_number", "container_old_number", "container_gid", "container_mode_refuses")
        return facts | dict.fromkeys(own, UNSET)
    node = entry.node
    return (
        facts
        | {
            "container_path": node.path,
            "container_number": f"{node.major}:{node.minor}" if known(node.major) and known(node.minor) else UNSET,
            "container_old_number": _other_number(entry, node),
            "container_gid": node.gid,
        }
        | _rights(context, entry, node)
    )


def _outside(context: Context) -> bool:
    """Not in a container, as far as could be told."""
    host = context.evidence.host
    return not known(context.evidence.container_nodes) and not (known(host) and isinstance(host.container, str))


def _entry(context: Context, name: str | None) -> ContainerNode | None:
    entries = context.evidence.container_nodes
    return next((one for one in entries if one.tty == name), None) if known(entries) else None


def _other(context: Context, entry: ContainerNode) -> str | UnsetType | None:
    """The node of another USB tty that the container has as it is now."""
    entries = context.evidence.container_nodes
    others = [one for one in entries if one.tty != entry.tty] if known(entries) else []
    for one in others:
        if isinstance(one.node, Node) and _other_number(one, one.node) is False:
            return one.node.path
    return None if context.whole("container_nodes") and all(known(one.node) for one in others) else UNSET


def _other_number(entry: ContainerNode, node: Node) -> bool | UnsetType:
    if not (known(node.major) and known(node.minor)):
        return UNSET
    return (node.major, node.minor) != (entry.major, entry.minor)


def _rights(context: Context, entry: ContainerNode, node: Node) -> dict[str, Any]:
    """What the user in question may do inside, by the process that stands for the user there."""
    user = context.user
    if not known(user):
        return {}
    ours = known(entry.asked_uid) and user.uid == entry.asked_uid
    groups = entry.asked_groups if ours else user.session_groups if known(user.session_groups) else user.groups
    by_mode = entry.refused != "EACCES" if ours and known(entry.refused) else may_open(node, user.uid, groups)
    may = _may(entry, node, by_mode)
    facts: dict[str, Any] = {
        "container_mode_refuses": not by_mode if known(by_mode) else UNSET,
        "user_may_open": may,
        "session_may_open": may,
    }
    if known(groups) and known(node.gid):
        facts["user_in_group"] = node.gid in groups
    return facts


def _account(context: Context, entry: ContainerNode | None) -> dict[str, Any]:
    """`user_exists`: a process needs no entry in the account file of its image."""
    user = context.user
    if not known(user) or user.exists is not False:
        return {}
    if entry is None or not known(entry.asked_uid):
        return {"user_exists": UNSET}
    return {"user_exists": True} if user.uid == entry.asked_uid else {}


def _may(entry: ContainerNode, node: Node, by_mode: bool | UnsetType) -> bool | UnsetType:
    """Whether nothing refuses: number, mount, device list, mode.  Absent when the rest does not decide."""
    old = _other_number(entry, node)
    if True in (old, entry.nodev) or by_mode is False or entry.refused == "EPERM" or entry.listed is False:
        return False
    return True if all(known(one) for one in (old, entry.nodev, entry.refused, by_mode)) else UNSET
