"""Device lists of version 1 control groups, as text and as this kernel writes them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from radiocheck.sources.device_list import listed
from radiocheck.sources.machine import Machine

from .device_groups import python_in_group

# What engines allow by default (from memory), in the form of the kernel's cgroup-v1/devices.rst
USUAL = "c 1:3 rwm\nc 1:5 rwm\nc 5:0 rwm\nc 136:* rwm\nb *:* m\nc *:* m\n"
HERE = "32 22 0:30 {root} /sys/fs/cgroup/devices ro - cgroup cgroup rw,devices\n"


def machine(root: Path, text: str, below: str = "", own: str = "/", tree: str = "/") -> Machine:
    """A container whose group's list is `text`; `own`: its path; `tree`: the part of the tree that is mounted."""
    for path, content in (
        ("proc/self/mountinfo", HERE.format(root=tree)),
        ("proc/self/cgroup", f"5:cpu,cpuacct:/\n4:devices:{own}\n0::/\n"),
        (f"sys/fs/cgroup/devices{below}/devices.list", text),
    ):
        file = root / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(content)
    return Machine(root=str(root))


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("c 188:* rwm", True),
        ("c 188:1 rw", True),
        ("c *:* rwm", True),
        ("a *:* rwm", True),
        ("c 188:0 rwm", False),
        ("c 188:1 r", False),
        ("b 188:1 rwm", False),
        ("c 188 rwm", False),
        ("", False),
    ],
)
def test_lines(tmp_path: Path, line: str, answer: bool) -> None:
    """One line has to give both reading and writing of that number (security/device_cgroup.c, match_exception())."""
    assert listed(machine(tmp_path, USUAL + line + "\n"), 188, 1) is answer


@pytest.mark.parametrize(
    ("below", "own", "tree"),
    [("", "/", "/"), ("/lxc/hearth", "/lxc/hearth", "/"), ("", "/lxc/hearth", "/lxc/hearth"), ("", "/", "/lxc/hearth")],
)
def test_where_the_list_is(tmp_path: Path, below: str, own: str, tree: str) -> None:
    """With and without a group namespace, and with the container's own part of the tree mounted (cgroups(7))."""
    assert listed(machine(tmp_path, "c 188:* rwm\n", below, own, tree), 188, 0) is True


def test_no_list(tmp_path: Path) -> None:
    """Version 2 has none to read: null, which is not the same as not listed."""
    file = tmp_path / "proc/self/cgroup"
    file.parent.mkdir(parents=True)
    file.write_text("0::/\n")
    assert listed(Machine(root=str(tmp_path)), 188, 0) is None


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may make a control group")
def test_the_kernels_own_list() -> None:
    """In a real group of version 1 that lets everything of a few majors and 188:8 through, 188:7 is not listed."""
    code = (
        "from radiocheck.sources.device_list import listed; from radiocheck.sources.machine import Machine\n"
        "print([listed(Machine(), *number) for number in ((188, 7), (188, 8), (1, 3))])"
    )
    assert python_in_group(1, (188, 7), code).strip() == "[False, True, True]"
