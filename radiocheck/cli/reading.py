"""Reading a file that a person names, or standard input, within bounds."""

from __future__ import annotations

import os
import stat
import sys

from .status import Unusable

STDIN = "standard input"


def read(file: str) -> tuple[bytes, str]:
    """The bytes of a file (`-`: standard input), and what complaints call it.

    Reads at most one byte more than a capture may have.  Devices are not opened.
    Raises `Unusable`.
    """
    from radiocheck.evidence.store import LIMIT, too_large

    name = STDIN if file == "-" else file
    try:
        if file == "-":
            if sys.stdin is None:
                raise Unusable(f"{STDIN} is closed; name a file")
            data = sys.stdin.buffer.read(LIMIT + 1)
        else:
            found = os.stat(file)
            if stat.S_ISDIR(found.st_mode):
                raise Unusable(f"{file}: is a folder; name the file that `radiocheck capture` made")
            if not (stat.S_ISREG(found.st_mode) or stat.S_ISFIFO(found.st_mode)):
                raise Unusable(
                    f"{file}: is no file but a device or socket; name the file that `radiocheck capture` made"
                )
            with open(file, "rb") as opened:
                data = opened.read(LIMIT + 1)
    except OSError as error:
        raise Unusable(f"{name}: cannot be read: {error.strerror}") from None
    except ValueError:  # a name with a zero byte
        raise Unusable(f"{name}: is no file name") from None
    if len(data) > LIMIT:
        raise Unusable(too_large(name))
    return data, name
