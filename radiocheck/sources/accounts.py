"""Account and group names: of the running system, or of the files below another root.

The running system is asked through NSS, so directory services count too.  Below
another root only `etc/passwd` and `etc/group` can be read (passwd(5), group(5)).
"""

from __future__ import annotations

import os
from typing import NamedTuple

from radiocheck.evidence.absent import UNSET, UnsetType

from .machine import Machine


class Account(NamedTuple):
    """One entry of the account database."""

    name: str
    uid: int
    gid: int  # of the primary group


def account(machine: Machine, name: str) -> Account | None:
    """The account of that name; None when there is none.  Raises `OSError`."""
    if machine.root == "/":
        import pwd

        try:
            entry = pwd.getpwnam(name)
        except (KeyError, ValueError):  # ValueError: a NUL in the name
            return None
        return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)
    return next((each for each in _accounts(machine) if each.name == name), None)


def account_of_uid(machine: Machine, uid: int) -> Account | None:
    """The account with that number; None when there is none.  Raises `OSError`."""
    if machine.root == "/":
        import pwd

        try:
            entry = pwd.getpwuid(uid)
        except (KeyError, OverflowError):
            return None
        return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)
    return next((each for each in _accounts(machine) if each.uid == uid), None)


def user_name(machine: Machine, uid: int) -> str | UnsetType | None:
    """The name for a uid; None when no account has it, absent when nobody could look."""
    try:
        found = account_of_uid(machine, uid)
    except OSError:
        return UNSET
    return found.name if found else None


def group_name(machine: Machine, gid: int) -> str | UnsetType | None:
    """The name for a gid; None when no group has it, absent when nobody could look."""
    if machine.root == "/":
        import grp

        try:
            return grp.getgrgid(gid).gr_name
        except (KeyError, OverflowError):
            return None
        except OSError:
            return UNSET
    try:
        rows = _rows(machine, "/etc/group", 4)
    except OSError:
        return UNSET
    return next((row[0] for row in rows if row[2] == str(gid)), None)


def groups(machine: Machine, who: Account) -> list[int]:
    """All groups a new login of that account gets, the primary one included, sorted.

    `getgrouplist(3)` for the running system.  Raises `OSError`.
    """
    if machine.root == "/":
        return sorted(set(os.getgrouplist(who.name, who.gid)))
    rows = _rows(machine, "/etc/group", 4)
    return sorted({who.gid, *(int(row[2]) for row in rows if who.name in row[3].split(",") and row[2].isdecimal())})


def _accounts(machine: Machine) -> list[Account]:
    rows = _rows(machine, "/etc/passwd", 7)
    return [Account(row[0], int(row[2]), int(row[3])) for row in rows if row[2].isdecimal() and row[3].isdecimal()]


def _rows(machine: Machine, path: str, columns: int) -> list[list[str]]:
    rows = [line.split(":") for line in machine.read(path).splitlines()]
    return [row for row in rows if len(row) >= columns]
