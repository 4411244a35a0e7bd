"""Reading a file that a person names, or standard input, within bounds."""

from __future__ import annotations

import os
import stat
import sys
from typing import TYPE_CHECKING

from .status import Unusable

if TYPE_CHECKING:
    from radiocheck.evidence.posted import Posted
    from radiocheck.evidence.record import Evidence

STDIN = "standard input"


def evidence(file: str) -> tuple[Evidence, str]:
    """The evidence in a file, and what complaints call the file.  Raises `Unusable`."""
    found, name = posted(file)
    return found.evidence, name


def posted(file: str) -> tuple[Posted, str]:
    """What a file holds: a capture, or a text with the block of a pasted report.  Raises `Unusable`."""
    from radiocheck.evidence.store import LIMIT

    from .judging import case

    data, name = read(file, LIMIT, "the file that `radiocheck capture` made")
    found = case(data, name)
    if found.reading is not None:
        raise Unusable(f"{name}: is no capture and holds no pasted report; raw pastes are for `radiocheck judge FILE`")
    return found.posted, name


def read(file: str, limit: int, wanted: str) -> tuple[bytes, str]:
    """The bytes of a file (`-`: standard input), and what complaints call it.

    Reads at most one byte more than `limit`, so that a longer file can be told.  `wanted`
    says which file to name instead of a folder or device, which are not opened.
    Raises `Unusable`.
    """
    name = STDIN if file == "-" else file
    try:
        if file == "-":
            if sys.stdin is None:
                raise Unusable(f"{STDIN} is closed; name a file")
            data = sys.stdin.buffer.read(limit + 1)
        else:
            found = os.stat(file)
            if stat.S_ISDIR(found.st_mode):
                raise Unusable(f"{file}: is a folder; name {wanted}")
            if not (stat.S_ISREG(found.st_mode) or stat.S_ISFIFO(found.st_mode)):
                raise Unusable(f"{file}: is no file but a device or socket; name {wanted}")
            with open(file, "rb") as opened:
                data = opened.read(limit + 1)
    except OSError as error:
        raise Unusable(f"{name}: cannot be read: {error.strerror}") from None
    except ValueError:  # a name with a zero byte
        raise Unusable(f"{name}: is no file name") from None
    return data, name
