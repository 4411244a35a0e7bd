"""Accounts and groups against id(1) and getent(1), and session groups against real processes."""

from __future__ import annotations

import grp
import os
import pwd
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.serial import User
from radiocheck.sources.accounts import account, group_name, groups, user_name
from radiocheck.sources.machine import Machine, Seen
from radiocheck.sources.users import collect, look

SAME_BY_FILES = Machine(root="/proc/self/root")  # this system again, but read from its files

needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root starts processes of other accounts")


@pytest.fixture
def gable(tmp_path: Path) -> str:
    """A root with accounts of its own and with the real processes of this machine."""
    (tmp_path / "etc").mkdir()
    (tmp_path / "etc/passwd").write_text(
        "root:x:0:0:root:/root:/bin/sh\n"
        "mira:x:54321:54321:Mira,,,:/home/mira:/bin/sh\n"
        "broken\nbroken:x:one:two:::\n"
        "libvirt-qemu:x:64055:64055::/var/lib/libvirt:/usr/sbin/nologin\n"
    )
    (tmp_path / "etc/group").write_text(
        "root:x:0:\ndialout:x:20:other,mira\nmira:x:54321:\nkvm:x:103:libvirt-qemu\nodd:x:nan:mira\nmiras:x:7:miranda\n"
    )
    (tmp_path / "proc").symlink_to("/proc")
    return str(tmp_path)


@contextmanager
def process(name: str, groups: list[int], uid: int = 54321) -> Iterator[int]:
    """A sleeping process of an account with these groups, whose argv[0] is `name`."""
    done = subprocess.Popen([name, "60"], executable="sleep", user=uid, group=uid, extra_groups=groups)
    try:
        yield done.pid  # the program runs by now: Popen waits for the exec
    finally:
        done.kill()
        done.wait()


def users(seen: Seen) -> dict[str, User]:
    return {user.name: user for user in seen.facts["users"]}


def test_groups_are_those_that_id_prints() -> None:
    """Reference: id -G, for every account of this machine."""
    for entry in pwd.getpwall():
        shown = subprocess.run(["id", "-G", entry.pw_name], capture_output=True, text=True, check=True).stdout.split()
        user = look(Machine(user=entry.pw_name), {}, 0).facts["users"][0]
        assert user.groups == sorted(map(int, shown))
        assert (user.uid, user.exists, user.asked) == (entry.pw_uid, True, True)


def test_accounts_read_from_files_are_those_of_getpwent() -> None:
    """The file reader, on this machine's own files, agrees with the C library."""
    by_files = [entry for entry in pwd.getpwall() if f"\n{entry.pw_name}:" in "\n" + Path("/etc/passwd").read_text()]
    assert by_files
    for entry in by_files:
        found = account(SAME_BY_FILES, entry.pw_name)
        assert found == (entry.pw_name, entry.pw_uid, entry.pw_gid)
        assert found == account(Machine(), entry.pw_name)
        assert found is not None
        assert groups(SAME_BY_FILES, found) == groups(Machine(), found)
        assert user_name(SAME_BY_FILES, entry.pw_uid) == user_name(Machine(), entry.pw_uid)
    for group in grp.getgrall():
        assert group_name(SAME_BY_FILES, group.gr_gid) == group_name(Machine(), group.gr_gid) == group.gr_name


def test_numbers_without_a_name_have_none() -> None:
    """Null: looked, no such account; absent: no account file to look into."""
    assert user_name(Machine(), 3999999999) is None
    assert group_name(Machine(), 3999999999) is None
    assert user_name(SAME_BY_FILES, 3999999999) is None
    nowhere = Machine(root="/nonexistent")
    assert user_name(nowhere, 0) is UNSET
    assert group_name(nowhere, 0) is UNSET


def test_an_account_that_does_not_exist_is_said_not_to(gable: str) -> None:
    """--user with a name that nobody has, hostile ones included."""
    for name in ("nobody-here", "a\0b", "\x1b[2J", ""):
        assert look(Machine(user=name), {}, 0).facts["users"][0] == User(name=name, exists=False, asked=True)
        assert look(Machine(root=gable, user=name), {}, 0).facts["users"][0].exists is False


def test_the_asked_account_comes_first_and_qemu_s_follow(gable: str) -> None:
    """An account may be named by its number too."""
    for name in ("mira", "54321"):
        seen = look(Machine(root=gable, user=name), {}, 0)
        assert [(user.name, user.asked) for user in seen.facts["users"]] == [("mira", True), ("libvirt-qemu", False)]
    assert users(seen)["mira"].groups == [20, 54321]
    assert users(seen)["libvirt-qemu"].groups == [103, 64055]
    only = look(Machine(root=gable, user="libvirt-qemu"), {}, 0).facts["users"]
    assert [(user.name, user.asked) for user in only] == [("libvirt-qemu", True)]


@pytest.mark.parametrize(
    ("environment", "own_uid", "name"),
    [
        ({"SUDO_USER": "mira"}, 0, "mira"),
        ({"DOAS_USER": "mira"}, 0, "mira"),
        ({"PKEXEC_UID": "54321"}, 0, "mira"),
        ({"SUDO_USER": "nobody-here"}, 0, "root"),
        ({"SUDO_USER": "root"}, 54321, "mira"),  # not root: nobody vouches for the variable
        ({}, 54321, "mira"),
        ({}, 0, "root"),
    ],
)
def test_without_a_name_the_person_behind_the_process_is_asked(
    gable: str, environment: dict[str, str], own_uid: int, name: str
) -> None:
    """sudo(8), doas(1) and pkexec(1) tell who called them, to root only."""
    assert look(Machine(root=gable), environment, own_uid).facts["users"][0].name == name


def test_a_uid_without_an_account_is_kept_as_a_number(gable: str) -> None:
    """As in a container that is started with a bare number."""
    assert look(Machine(root=gable), {}, 777).facts["users"][0] == User(name="777", uid=777, exists=False, asked=True)


@needs_root
def test_session_groups_are_those_of_the_login_process(gable: str) -> None:
    """A login shell counts before an older process of the account, and groups are the process's own."""
    machine = Machine(root=gable, user="mira")
    seen = look(machine, {}, 0)
    assert users(seen)["mira"].session_groups is UNSET
    assert ("users[mira].session_groups", "not-here") in [(gap.what, gap.why) for gap in seen.gaps]
    with process("worker", [20, 7]):
        assert users(look(machine, {}, 0))["mira"].session_groups == [7, 20, 54321]
        with process("-sh", [7]):
            seen = look(machine, {}, 0)
    assert users(seen)["mira"].session_groups == [7, 54321]
    assert users(seen)["mira"].groups == [20, 54321]
    assert not [gap for gap in seen.gaps if "mira" in gap.what]


@needs_root
def test_the_oldest_of_several_processes_counts(gable: str) -> None:
    """What started after usermod(8) has the new groups, what started before has not."""
    with process("old", [7]):
        time.sleep(0.05)  # start times are in clock ticks of 10 ms
        with process("young", [7, 20]):
            assert users(look(Machine(root=gable, user="mira"), {}, 0))["mira"].session_groups == [7, 54321]


@needs_root
def test_the_oldest_login_counts(gable: str) -> None:
    """Of two logins, before and after usermod(8), the older one."""
    with process("-sh", [7]):
        time.sleep(0.05)
        with process("-sh", [7, 20]):
            assert users(look(Machine(root=gable, user="mira"), {}, 0))["mira"].session_groups == [7, 54321]


@needs_root
def test_a_process_that_only_acts_for_the_account_does_not_count(gable: str) -> None:
    """A server that took the account's effective uid for a while is no session of it."""
    done = subprocess.Popen(["setpriv", "--euid=54321", "sleep", "60"])
    try:
        for _ in range(200):
            time.sleep(0.02)
            if os.stat(f"/proc/{done.pid}").st_uid == 54321:
                break
        assert os.stat(f"/proc/{done.pid}").st_uid == 54321
        assert users(look(Machine(root=gable, user="mira"), {}, 0))["mira"].session_groups is UNSET
    finally:
        done.kill()
        done.wait()


@needs_root
def test_a_process_in_a_container_does_not_count(gable: str) -> None:
    """The same number in another process namespace belongs to somebody else."""
    argv = ["unshare", "--pid", "--fork", "setpriv", "--reuid=54321", "--regid=54321", "--groups=20", "sleep", "60"]
    if subprocess.run([*argv[:3], "true"], capture_output=True, check=False).returncode:
        pytest.skip("process namespaces are not allowed here")
    outer = subprocess.Popen([*argv[:3], "--kill-child", *argv[3:]])
    try:
        for _ in range(200):
            time.sleep(0.02)
            inner = Path(f"/proc/{outer.pid}/task/{outer.pid}/children").read_text().split()
            if inner and b"sleep" in Path(f"/proc/{inner[0]}/cmdline").read_bytes()[:5]:
                break
        assert os.stat(f"/proc/{inner[0]}").st_uid == 54321
        assert users(look(Machine(root=gable, user="mira"), {}, 0))["mira"].session_groups is UNSET
    finally:
        outer.kill()
        outer.wait()


def test_the_caller_of_this_test_is_seen_with_the_groups_it_runs_with() -> None:
    """Live: whoever runs the tests has at least one process."""
    user = look(Machine(), {}, os.getuid()).facts["users"][0]
    if user.exists:
        assert user.uid == os.getuid()
        assert user.session_groups is not UNSET
    assert collect(Machine()).facts["users"][0].asked is True


def test_a_root_without_an_account_file_leaves_a_gap(tmp_path: Path) -> None:
    """Nothing to look into: absent."""
    seen = look(Machine(root=str(tmp_path), user="mira"), {}, 0)
    assert seen.facts == {}
    assert [gap.what for gap in seen.gaps] == ["users"]
