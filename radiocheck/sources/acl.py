"""The rights of a device node: stat(2) and its POSIX access ACL.  Opens nothing.

Layout of `system.posix_acl_access`: Linux include/uapi/linux/posix_acl_xattr.h (header
and entry) and include/uapi/linux/posix_acl.h (tags).  Everything is little-endian.
"""

from __future__ import annotations

import errno
import os
import stat
import struct

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import AclEntry, Node

from .accounts import group_name, user_name
from .machine import Machine, decoded, refused

XATTR = "system.posix_acl_access"
VERSION = 2  # POSIX_ACL_XATTR_VERSION
_TAGS = {0x01: "owner", 0x02: "user", 0x04: "group-owner", 0x08: "group", 0x10: "mask", 0x20: "other"}
_NONE = (errno.ENODATA, errno.EOPNOTSUPP)  # no ACL beyond the mode; a file system without ACLs
_GONE = (errno.ENOENT, errno.ENOTDIR, errno.ENXIO, errno.ENODEV)


def parse_acl(raw: bytes, machine: Machine) -> list[AclEntry]:
    """The entries of an access ACL in the kernel's order.  Raises `ValueError` when malformed."""
    if len(raw) < 4 or (len(raw) - 4) % 8 or struct.unpack_from("<I", raw)[0] != VERSION:
        raise ValueError("not a version 2 ACL")
    entries = []
    for tag, perms, number in struct.iter_unpack("<HHI", raw[4:]):
        if tag not in _TAGS or perms > 7:
            raise ValueError(f"ACL entry with tag {tag:#x} and rights {perms:#x}")
        word = _TAGS[tag]
        name = {"user": user_name, "group": group_name}.get(word)
        entries.append(
            AclEntry(
                tag=word,
                id=number if name else None,  # the others carry ACL_UNDEFINED_ID
                name=(name(machine, number) or None) if name else None,
                perms=perms,
            )
        )
    return entries


def access_acl(path: str, machine: Machine) -> list[AclEntry] | None:
    """The access ACL of a real path; None when the mode says it all.

    Raises `OSError` when it cannot be read and `ValueError` when it is malformed.
    """
    try:
        raw = os.getxattr(path, XATTR)
    except OSError as error:
        if error.errno in _NONE:
            return None
        raise
    return parse_acl(raw, machine)


def read_node(machine: Machine, path: str, what: str) -> tuple[Node | UnsetType | None, tuple[Gap, ...]]:
    """A character device node of the machine, with the gaps named below `what`.

    None: nothing is there, or what is there is no character device (then a gap says so).
    """
    try:
        found = os.stat(machine.path(path))
    except OSError as error:
        return (None, ()) if error.errno in _GONE else (UNSET, (refused(what, error),))
    if not stat.S_ISCHR(found.st_mode):
        return None, (Gap(what=what, why="malformed", detail=f"{decoded(path)} is not a character device"),)
    acl: list[AclEntry] | UnsetType | None = UNSET
    gaps: tuple[Gap, ...] = ()
    try:
        acl = access_acl(machine.path(path), machine)
    except OSError as error:
        if error.errno in _GONE:
            return None, ()
        gaps = (refused(f"{what}.acl", error),)
    except ValueError as error:
        gaps = (Gap(what=f"{what}.acl", why="malformed", detail=str(error)),)
    node = Node(
        path=decoded(path),
        major=os.major(found.st_rdev),
        minor=os.minor(found.st_rdev),
        mode=stat.S_IMODE(found.st_mode),
        uid=found.st_uid,
        gid=found.st_gid,
        owner=user_name(machine, found.st_uid),
        group=group_name(machine, found.st_gid),
        acl=acl,
    )
    return node, gaps
