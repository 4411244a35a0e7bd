"""`getfacl` (acl 2.3.1) and `stat` (coreutils 9.1), run here on nodes and as they print."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from .said import said, values


@pytest.fixture
def node(tmp_path: Path) -> Path:
    """A node like that of a serial tty."""
    path = tmp_path / "ttyUSB0"
    try:
        os.mknod(path, stat.S_IFCHR | 0o660, os.makedev(188, 0))
    except PermissionError:
        pytest.skip("this account may make no nodes")
    path.chmod(0o660)
    return path


def run(*argv: str) -> str:
    """What a program prints."""
    return subprocess.run(argv, capture_output=True, text=True, check=False).stdout


@pytest.mark.skipif(shutil.which("setfacl") is None, reason="Debian's acl is not installed")
def test_getfacl_prints_the_acl(node: Path) -> None:
    """Owner, entries and mask; the group's bits of the mode are those of the mask (acl(5))."""
    if subprocess.run(["setfacl", "-m", "u:daemon:rw,g::r", str(node)], capture_output=True, check=False).returncode:
        pytest.skip("this file system keeps no ACL")
    text = run("getfacl", "-p", str(node)).replace(f"# file: {node}", "# file: dev/ttyUSB0")
    (tty,) = values("rights", text, "tty")
    told = tty["node"]
    assert (told.path, told.owner, told.mode) == ("/dev/ttyUSB0", "root", 0o660)
    entries = {(entry.tag, entry.name): entry.perms for entry in told.acl}
    assert entries == {
        ("owner", None): 6,
        ("user", "daemon"): 6,
        ("group-owner", None): 4,
        ("mask", None): 6,
        ("other", None): 0,
    }


def test_without_entries_there_is_no_acl() -> None:
    """The three lines of the mode."""
    text = "# file: dev/bus/usb/001/005\n# owner: root\n# group: plugdev\nuser::rw-\ngroup::rw-\nother::r--\n\n"
    (found,) = values("rights", text, "usb_node")
    assert (found.path, found.acl, found.mode, found.group) == ("/dev/bus/usb/001/005", None, 0o664, "plugdev")


def test_an_acl_that_was_cut_off_is_none() -> None:
    """Without its last line it may lack what matters."""
    assert said("rights", "# file: dev/ttyUSB0\n# owner: root\n# group: dialout\nuser::rw-\nuser:mira:rw-\n") == []


def test_stat_prints_numbers_too(node: Path) -> None:
    """Mode, owner, group, major and minor number."""
    text = run("stat", str(node)).replace(str(node), "/dev/ttyUSB0")
    (tty,) = values("rights", text, "tty")
    told = tty["node"]
    assert (told.mode, told.uid, told.owner, told.group, told.major, told.minor) == (0o660, 0, "root", "root", 188, 0)


def test_stat_of_older_coreutils() -> None:
    """They print device numbers in hexadecimal (coreutils 8, from memory)."""
    text = """  File: /dev/ttyUSB1
  Size: 0               Blocks: 0          IO Block: 4096   character special file
Device: 5h/5d   Inode: 577         Links: 1     Device type: bc,1
Access: (0660/crw-rw----)  Uid: (    0/    root)   Gid: (   20/ dialout)
"""
    (tty,) = values("rights", text, "tty")
    assert (tty["node"].major, tty["node"].minor, tty["node"].gid) == (188, 1, 20)


def test_stat_of_another_file_is_passed_over() -> None:
    """Only nodes of adapters matter."""
    assert said("rights", run("stat", "/dev/null")) == []
