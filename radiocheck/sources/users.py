"""The accounts whose rights count: the one that was asked for, and QEMU's."""

from __future__ import annotations

import os
from collections.abc import Mapping

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import User

from . import proc
from .accounts import Account, account, account_of_uid, groups
from .machine import Machine, Seen, decoded, refused

QEMU_ACCOUNTS = ("libvirt-qemu", "qemu")  # Debian's and others' (`user` in libvirt's qemu.conf)


def collect(machine: Machine) -> Seen:
    """`users`: the asked one first, then those of QEMU that exist."""
    return look(machine, os.environ, os.getuid())


def look(machine: Machine, environment: Mapping[str, str], own_uid: int) -> Seen:
    """The same for a given environment and a given real uid of ours."""
    gaps: list[Gap] = []
    users: list[User] = []
    try:
        name, asked, uid = _asked(machine, environment, own_uid)
        accounts = [found for name_ in QEMU_ACCOUNTS if (found := account(machine, name_)) is not None]
    except OSError as error:
        return Seen({}, (refused("users", error),))
    if asked is not None:
        users.append(_user(machine, asked, True, gaps))
    else:
        users.append(User(name=decoded(name), uid=uid, exists=False, asked=True))
    users += [_user(machine, each, False, gaps) for each in accounts if each != asked]
    return Seen({"users": users}, tuple(gaps))


def _asked(
    machine: Machine, environment: Mapping[str, str], own_uid: int
) -> tuple[str, Account | None, int | UnsetType]:
    """Name, account and uid of the person in question: --user, or who stands behind this process.

    Names by sudo(8), doas(1), uid by pkexec(1); these variables count only when we are
    root, since only then did one of these programs set them.
    """
    name = machine.user
    if name is not None:
        found = account(machine, name)
        if found is None and name.isdecimal():
            return name, account_of_uid(machine, int(name)), int(name)
        return name, found, UNSET
    if own_uid == 0:
        for variable in ("SUDO_USER", "DOAS_USER"):
            if (name := environment.get(variable)) and (found := account(machine, name)) is not None:
                return name, found, UNSET
        uid = environment.get("PKEXEC_UID", "")
        if uid.isdecimal():
            return uid, account_of_uid(machine, int(uid)), int(uid)
    return str(own_uid), account_of_uid(machine, own_uid), own_uid


def _user(machine: Machine, who: Account, asked: bool, gaps: list[Gap]) -> User:
    name = decoded(who.name)
    of_account: list[int] | UnsetType = UNSET
    try:
        of_account = groups(machine, who)
    except OSError as error:
        gaps.append(refused(f"users[{name}].groups", error))
    of_session = _session_groups(machine, who.uid)
    if of_session is UNSET and asked:
        gaps.append(
            Gap(
                what=f"users[{name}].session_groups",
                why="not-here",
                detail=f"no process of {name} can be seen",
                provide=f"log in as {name}, then check again",
            )
        )
    return User(name=name, uid=who.uid, exists=True, groups=of_account, session_groups=of_session, asked=asked)


def _session_groups(machine: Machine, uid: int) -> list[int] | UnsetType:
    """The groups of the account's oldest login process, else of its oldest process.

    Groups are set at login and inherited, so the oldest shows what everything started
    since then has (credentials(7)).  A process in a container that has the same uid by
    chance is another account's and does not count.
    """
    oldest: list[int] | UnsetType = UNSET
    for pid in _oldest_first(machine, uid):
        login = _login(machine, pid)
        if not login and oldest is not UNSET:
            continue
        try:
            status = proc.status(machine, pid)
        except OSError:
            continue
        if status is None or proc.numbers(status.get("Uid"))[:2] != [uid, uid]:  # real and effective
            continue
        gid = proc.numbers(status.get("Gid"))[1:2]
        if not gid or len(proc.numbers(status.get("NSpid"))) > 1:
            continue
        found = sorted({*gid, *proc.numbers(status.get("Groups"))})
        if login:
            return found
        oldest = found
    return oldest


def _oldest_first(machine: Machine, uid: int) -> list[int]:
    """The account's processes by age; the owner of /proc/PID is the effective uid (proc(5))."""
    found = []
    try:
        every = proc.pids(machine)
    except OSError:
        return []
    for pid in every:
        try:
            if os.stat(machine.path(f"/proc/{pid}")).st_uid != uid:
                continue
        except OSError:
            continue
        start = proc.started(machine, pid)
        if start is not None:
            found.append((start, pid))
    return [pid for _, pid in sorted(found)]


def _login(machine: Machine, pid: int) -> bool:
    """A login shell (argv[0] begins with a dash, login(1)) or the account's systemd."""
    words = proc.arguments(machine, pid)
    if not words:
        return False
    return words[0].startswith("-") or (os.path.basename(words[0]) == "systemd" and "--user" in words[1:])
