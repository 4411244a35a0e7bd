"""POSIX access ACLs against setfacl(1) and getfacl(1), and node rights against stat(1)."""

from __future__ import annotations

import os
import re
import shutil
import struct
import subprocess
from pathlib import Path

import pytest

from radiocheck.evidence.serial import AclEntry, Node
from radiocheck.sources.acl import access_acl, parse_acl, read_node
from radiocheck.sources.machine import Machine

needs_acl = pytest.mark.skipif(shutil.which("setfacl") is None, reason="setfacl is absent (Debian package acl)")
needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root makes device nodes")

# getfacl(1) writes user and group for both kinds of entries; a qualifier tells them apart
_WORDS = {("user", False): "owner", ("user", True): "user", ("group", False): "group-owner", ("group", True): "group"}


def by_getfacl(path: Path) -> list[AclEntry]:
    """The ACL as getfacl(1) prints it, with numbers and names."""
    entries = []
    numeric, named = (
        subprocess.run(
            ["getfacl", *options, "--omit-header", "--absolute-names", "--no-effective", str(path)],
            capture_output=True, text=True, check=True,
        ).stdout.split()
        for options in (["--numeric"], [])
    )  # fmt: skip
    for by_number, by_name in zip(numeric, named, strict=True):
        word, number, rights = by_number.split(":")
        name = by_name.split(":")[1]
        entries.append(
            AclEntry(
                tag=_WORDS.get((word, bool(number)), word),
                id=int(number) if number else None,
                name=name if number and name != number else None,
                perms=sum(bit for letter, bit in (("r", 4), ("w", 2), ("x", 1)) if letter in rights),
            )
        )
    return entries


@needs_acl
def test_an_acl_reads_as_getfacl_prints_it(tmp_path: Path) -> None:
    """Tags, ids, names and rights, for known and unknown accounts."""
    file = tmp_path / "node"
    file.touch()
    wanted = "u:daemon:rw,u:54321:r,g:daemon:rwx,g:54322:-,m::rw,o::r"
    done = subprocess.run(["setfacl", "-m", wanted, str(file)], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"no ACLs on this file system: {done.stderr}")
    found = access_acl(str(file), Machine())
    assert found == by_getfacl(file)
    assert found is not None
    assert AclEntry(tag="user", id=54321, name=None, perms=4) in found
    assert AclEntry(tag="mask", perms=6) in found


def test_a_file_without_acl_has_none(tmp_path: Path) -> None:
    """ENODATA and a file system without ACLs both mean that the mode says it all."""
    file = tmp_path / "plain"
    file.touch()
    assert access_acl(str(file), Machine()) is None


def test_an_acl_below_another_root_is_named_by_that_root_s_accounts(tmp_path: Path) -> None:
    """Names come from the machine that is looked at, not from the one that looks."""
    (tmp_path / "etc").mkdir()
    (tmp_path / "etc/passwd").write_text("mira:x:1000:1000::/home/mira:/bin/sh\n")
    raw = struct.pack("<IHHI", 2, 0x02, 6, 1000)
    assert parse_acl(raw, Machine(root=str(tmp_path))) == [AclEntry(tag="user", id=1000, name="mira", perms=6)]


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\x02\0\0",
        struct.pack("<I", 1),
        struct.pack("<I", 2) + b"1234567",
        struct.pack("<IHHI", 2, 0x40, 6, 0),  # no such tag in posix_acl.h
        struct.pack("<IHHI", 2, 0x01, 8, 0),  # rights are three bits
    ],
)
def test_a_malformed_acl_is_refused(raw: bytes) -> None:
    """Header and entries by Linux include/uapi/linux/posix_acl_xattr.h."""
    with pytest.raises(ValueError, match="ACL"):
        parse_acl(raw, Machine())


@needs_root
def test_a_node_has_the_rights_that_stat_shows(tmp_path: Path) -> None:
    """Reference: stat(1) on a real device node."""
    path = tmp_path / "ttyUSB250"
    os.mknod(path, 0o20660, os.makedev(188, 250))
    os.chmod(path, 0o660)
    os.chown(path, 1, 54322)
    node, gaps = read_node(Machine(), str(path), "node")
    assert isinstance(node, Node)
    assert gaps == ()
    shown = subprocess.run(
        ["stat", "--format=%Hr %Lr %a %u %g %U %G", str(path)], capture_output=True, text=True, check=True
    ).stdout.split()
    ours = [node.major, node.minor, f"{node.mode:o}", node.uid, node.gid, node.owner, node.group or "UNKNOWN"]
    assert [str(one) for one in ours] == shown
    assert node.group is None  # stat(1) writes UNKNOWN for a group without a name


def test_what_is_not_there_is_none_and_what_is_refused_is_a_gap(tmp_path: Path) -> None:
    """Null: looked, nothing there.  A plain file is no node either, and a gap says so."""
    machine = Machine(root=str(tmp_path))
    assert read_node(machine, "/dev/ttyUSB0", "node") == (None, ())
    (tmp_path / "plain").touch()
    node, gaps = read_node(machine, "/plain", "node")
    assert node is None
    assert [(gap.what, gap.why) for gap in gaps] == [("node", "malformed")]
    assert re.search("not a character device", gaps[0].detail)
