"""Whether an account may read and write a node: acl(5), "Access check algorithm"."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import AclEntry, Node

READ_WRITE = 6


def may_open(node: Node, uid: int | UnsetType, gids: Iterable[int] | UnsetType) -> bool | UnsetType:
    """Reading and writing by mode and ACL; absent when a deciding part is absent.

    Root passes whatever the mode says (CAP_DAC_OVERRIDE).  What the mode cannot show (a
    device cgroup, an LSM, another mount namespace) is not part of this answer.
    """
    if not known(uid):
        return UNSET
    if uid == 0:
        return True
    if not (known(node.mode) and known(node.uid) and known(node.gid) and known(node.acl)):
        return UNSET
    acl = node.acl or []
    if uid == node.uid:
        return _enough(_of(acl, "owner", node.mode >> 6 & 7))
    mask = next((entry.perms for entry in acl if entry.tag == "mask"), 7)
    for entry in acl:
        if entry.tag == "user" and entry.id == uid:
            return _enough(entry.perms & mask)
    if not known(gids):
        return UNSET
    groups = set(gids)
    mine = [entry.perms for entry in acl if entry.tag == "group" and entry.id in groups]
    if node.gid in groups:
        mine.append(_of(acl, "group-owner", node.mode >> 3 & 7))
    if mine:
        return any(_enough(perms & mask) for perms in mine)
    return _enough(_of(acl, "other", node.mode & 7))


def group_may_open(node: Node) -> bool | UnsetType:
    """Whether mode and ACL mask give the node's group reading and writing."""
    if not (known(node.mode) and known(node.acl)):
        return UNSET
    acl = node.acl or []
    mask = next((entry.perms for entry in acl if entry.tag == "mask"), 7)
    return _enough(_of(acl, "group-owner", node.mode >> 3 & 7) & mask)


def _of(acl: Sequence[AclEntry], tag: str, otherwise: int) -> int:
    return next((entry.perms for entry in acl if entry.tag == tag), otherwise)


def _enough(perms: int) -> bool:
    return perms & READ_WRITE == READ_WRITE
