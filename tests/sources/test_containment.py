"""The inside of a container, known by marks, by systemd's tool, or by the namespace."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.sources.containment import container
from radiocheck.sources.machine import Machine, Ran, ToolHung, ToolMissing


def says(word: str) -> Callable[..., Ran]:
    """A systemd-detect-virt(1) that prints one word; its status is 1 for `none`."""

    def run(argv: Sequence[str], limit: float = 0) -> Ran:
        assert list(argv) == ["systemd-detect-virt", "--container"]
        return Ran(int(word == "none"), word + "\n", "")

    return run


def fails(error: type[Exception]) -> Callable[..., Ran]:
    """A runner without that tool, or with one that hangs."""

    def run(argv: Sequence[str], limit: float = 0) -> Ran:
        raise error(argv[0])

    return run


def linked(root: Path, namespace: str) -> None:
    """The process namespace of this process."""
    (root / "proc/self/ns").mkdir(parents=True)
    os.symlink(namespace, root / "proc/self/ns/pid")


@pytest.mark.parametrize(("word", "answer"), [("systemd-nspawn", "systemd-nspawn"), ("none", None), ("", UNSET)])
def test_the_tool(tmp_path: Path, word: str, answer: object) -> None:
    """Its word counts; `none` is null; no word settles nothing."""
    assert container(Machine(root=str(tmp_path), run=says(word))) == answer


@pytest.mark.parametrize("error", [ToolMissing, ToolHung])
@pytest.mark.parametrize(
    ("namespace", "answer"), [("pid:[4026532222]", "container-other"), ("pid:[4026531836]", UNSET), (None, UNSET)]
)
def test_without_the_tool(tmp_path: Path, error: type[Exception], namespace: str | None, answer: object) -> None:
    """A process namespace that is not the machine's first (PROC_PID_INIT_INO) is a container's."""
    if namespace is not None:
        linked(tmp_path, namespace)
    assert container(Machine(root=str(tmp_path), run=fails(error))) == answer


def test_a_mark_costs_no_program(tmp_path: Path) -> None:
    """/run/systemd/container holds the kind (systemd's container interface); nothing is started then."""
    (tmp_path / "run/systemd").mkdir(parents=True)
    (tmp_path / "run/systemd/container").write_text("lxc\n")
    assert container(Machine(root=str(tmp_path), run=fails(AssertionError))) == "lxc"


def test_a_mark_that_cannot_be_read_is_still_a_mark(tmp_path: Path) -> None:
    """That it is there settles the question; here it is a folder."""
    (tmp_path / "run/systemd/container").mkdir(parents=True)
    assert container(Machine(root=str(tmp_path), run=fails(AssertionError))) == "container-other"
