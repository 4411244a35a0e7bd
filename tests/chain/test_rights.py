"""The access check is the one of acl(5), and agrees with the kernel."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from msgspec import UNSET

from radiocheck.chain.rights import group_may_open, may_open
from radiocheck.evidence.serial import AclEntry, Node

NODE = Node(path="/dev/ttyUSB0", mode=0o660, uid=0, gid=20, acl=None)


def node(mode: int, acl: list[AclEntry] | None = None, uid: int = 0, gid: int = 20) -> Node:
    """A node of the usual owner."""
    return Node(path="/dev/ttyUSB0", mode=mode, uid=uid, gid=gid, acl=acl)


def entry(tag: str, perms: int, id: int | None = None) -> AclEntry:
    """An ACL entry."""
    return AclEntry(tag=tag, perms=perms, id=id)


ACL = [entry("owner", 6), entry("user", 6, 1000), entry("group-owner", 6), entry("mask", 6), entry("other", 0)]


@pytest.mark.parametrize(
    ("what", "uid", "gids", "answer"),
    [
        (node(0o660), 0, [], True),
        (node(0o000), 0, [], True),  # CAP_DAC_OVERRIDE, capabilities(7)
        (node(0o660), 1000, [20], True),
        (node(0o660), 1000, [100], False),
        (node(0o600), 1000, [20], False),
        (node(0o640), 1000, [20], False),  # reading alone does not open a serial port for use
        (node(0o666), 1000, [], True),
        (node(0o060, uid=1000), 1000, [20], False),  # the owner's bits count for the owner alone
        (node(0o606), 1000, [20], False),  # a group that matches is final, acl(5)
        (node(0o660, ACL), 1000, [], True),
        (node(0o660, [*ACL[:3], entry("mask", 4), ACL[4]]), 1000, [], False),  # the mask cuts named users
        (node(0o660, [*ACL, entry("group", 6, 50)]), 1001, [50], True),
        (node(0o660, [*ACL, entry("group", 0, 50)]), 1001, [50, 20], True),  # any matching group may grant
        (node(0o660), UNSET, [20], UNSET),
        (node(0o660), 1000, UNSET, UNSET),
        (Node(path="x", uid=0, gid=20, acl=None), 1000, [20], UNSET),
    ],
)
def test_access_check(what: Node, uid: int, gids: list[int], answer: object) -> None:
    """acl(5), "Access Check Algorithm", case by case; absent parts leave the answer absent."""
    assert may_open(what, uid, gids) is answer


def test_group_bits_and_mask() -> None:
    """The group's right is its bits cut by the ACL mask."""
    assert group_may_open(node(0o660)) is True
    assert group_may_open(node(0o600)) is False
    assert group_may_open(node(0o660, [*ACL[:3], entry("mask", 4), ACL[4]])) is False


@pytest.mark.skipif(os.geteuid() != 0 or not shutil.which("setpriv"), reason="needs root and setpriv to become others")
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o660, 0o606, 0o066, 0o006])
@pytest.mark.parametrize(("uid", "gids"), [(4711, [4711]), (4711, [4711, 4712]), (4713, [4712])])
def test_agrees_with_the_kernel(tmp_path: Path, mode: int, uid: int, gids: list[int]) -> None:
    """For real files, the answer equals what open(2) of this kernel allows that account."""
    file = tmp_path / "node"
    file.touch()
    os.chown(file, 4713, 4712)
    file.chmod(mode)
    for folder in (tmp_path, *tmp_path.parents):
        if folder.stat().st_mode & 0o005 != 0o005:
            folder.chmod(folder.stat().st_mode | 0o005)
    groups = ",".join(map(str, gids))
    done = subprocess.run(
        ["setpriv", f"--reuid={uid}", f"--regid={gids[0]}", f"--groups={groups}", "sh", "-c", f": <> {file}"],
        capture_output=True,
        check=False,
    )
    assert may_open(node(mode, uid=4713, gid=4712), uid, gids) is (done.returncode == 0)
