"""Which files are found."""

from __future__ import annotations

import os
import socket
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from radiocheck.cli.walk import HIDDEN, LINK, NO_FILE, Place, walk


def found(*named: Path) -> tuple[list[str], Counter[str]]:
    """The paths of all files, and what was left out."""
    left: Counter[str] = Counter()
    return [place.path for place in walk([str(path) for path in named], left)], left


def test_sorted_and_recursive(tmp_path: Path) -> None:
    """Files and folders of a folder in the order of their names, folders with what is in them."""
    for name in ("b/z", "b/a/y", "c", "a", "B"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    assert found(tmp_path)[0] == [str(tmp_path / name) for name in ("B", "a", "b/a/y", "b/z", "c")]


def test_named_order_is_kept(tmp_path: Path) -> None:
    """What is named comes in that order, and again when it is named again."""
    for name in ("a", "b"):
        (tmp_path / name).touch()
    named = [tmp_path / "b", tmp_path, tmp_path / "b"]
    assert found(*named)[0] == [str(tmp_path / name) for name in ("b", "a", "b", "b")]


def test_nothing_but_files_is_found(tmp_path: Path) -> None:
    """Hidden names, links (loops too, and into the same folder), pipes and sockets are left out and counted."""
    (tmp_path / "a").touch()
    (tmp_path / ".hidden").mkdir()
    (tmp_path / ".hidden" / "b").touch()
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "link").symlink_to(tmp_path / "a")
    (tmp_path / "nowhere").symlink_to("missing")
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as one:
        one.bind(str(tmp_path / "s"))
        paths, left = found(tmp_path)
    assert paths == [str(tmp_path / "a")]
    assert left == {HIDDEN: 1, LINK: 3, NO_FILE: 2}


def test_a_named_link_is_followed(tmp_path: Path) -> None:
    """A person may name a link to a file or folder, or a hidden one."""
    (tmp_path / ".d").mkdir()
    (tmp_path / ".d" / "a").touch()
    (tmp_path / "l").symlink_to(".d")
    (tmp_path / "f").symlink_to(".d/a")
    assert found(tmp_path / "l", tmp_path / "f", tmp_path / ".d")[0] == [
        str(tmp_path / name) for name in ("l/a", "f", ".d/a")
    ]


def test_very_deep_folders(tmp_path: Path) -> None:
    """Folders nested as deeply as names allow need no recursion."""
    depth = 1500
    here = os.open(tmp_path, os.O_RDONLY)
    try:
        for _ in range(depth):
            os.mkdir("d", dir_fd=here)
            inner = os.open("d", os.O_RDONLY, dir_fd=here)
            os.close(here)
            here = inner
        os.close(os.open("f", os.O_CREAT, dir_fd=here))
        paths, _ = found(tmp_path)
    finally:
        os.close(here)
        subprocess.run(["rm", "-r", tmp_path / "d"], check=True)  # shutil.rmtree, which pytest uses, needs recursion
    assert paths == [str(tmp_path) + "/d" * depth + "/f"]


def test_an_empty_folder_among_others_is_named(tmp_path: Path) -> None:
    """Of several, the one that holds nothing is told; by itself it yields nothing."""
    (tmp_path / "e").mkdir()
    (tmp_path / "f").touch()
    named = [str(tmp_path / "e"), str(tmp_path / "f")]
    places = list(walk(named, Counter()))
    assert [place.wrong is None for place in places] == [False, True]
    assert places[1] == Place(named[1], named=True)
    assert found(tmp_path / "e") == ([], Counter())


@pytest.mark.skipif(os.geteuid() == 0, reason="root may look into every folder")
def test_a_closed_folder_is_named(tmp_path: Path) -> None:
    """A folder that may not be looked into is told, and the others are walked."""
    (tmp_path / "a").mkdir(0)
    (tmp_path / "b").touch()
    first, second = walk([str(tmp_path)], Counter())
    assert first.wrong == "cannot be looked into: Permission denied"
    assert second.path == str(tmp_path / "b")
