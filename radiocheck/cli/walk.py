"""Which files lie in the folders that a person names.

Nothing outside what was named is reached: links inside a folder are not followed, so there
are no loops either.  What is named itself may be a link.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence

from msgspec import Struct

HIDDEN, LINK, NO_FILE = "hidden name", "link", "pipe, socket or device"  # what is left out, and counted


class Place(Struct, frozen=True):
    """A file to judge, or a folder that could not be looked into (`wrong` says why)."""

    path: str
    named: bool = False  # by the person, so that it may be a link
    wrong: str | None = None


def walk(named: Sequence[str], left: Counter[str]) -> Iterator[Place]:
    """All files in what is named, in that order and sorted within; what is left out is counted into `left`."""
    for path in named:
        if not os.path.isdir(path):
            yield Place(path, named=True)
            continue
        empty = True
        for place in _inside(path, left):
            empty = False
            yield place
        if empty and len(named) > 1:
            yield Place(path, wrong="is a folder that holds no file to judge")


def _inside(folder: str, left: Counter[str]) -> Iterator[Place]:
    """The files of a folder and of its folders.  A list instead of recursion: folders may be nested very deeply."""
    waiting = [(folder, True)]
    while waiting:
        path, is_folder = waiting.pop()
        if not is_folder:
            yield Place(path)
            continue
        try:
            with os.scandir(path) as entries:
                inside = sorted(entries, key=_name, reverse=True)
                waiting += [
                    (entry.path, entry.is_dir(follow_symlinks=False)) for entry in inside if _wanted(entry, left)
                ]
        except OSError as error:
            yield Place(path, wrong=f"cannot be looked into: {error.strerror}")


def _name(entry: os.DirEntry[str]) -> str:
    return entry.name


def _wanted(entry: os.DirEntry[str], left: Counter[str]) -> bool:
    """Whether it is a folder or file to go on with."""
    if entry.name.startswith("."):
        why = HIDDEN
    elif entry.is_symlink():
        why = LINK
    elif entry.is_dir(follow_symlinks=False) or entry.is_file(follow_symlinks=False):
        return True
    else:
        why = NO_FILE
    left[why] += 1
    return False
