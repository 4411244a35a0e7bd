"""Writing to standard output and knowing what it can show."""

from __future__ import annotations

import contextlib
import os
import sys
from typing import TextIO

from .status import Unusable

PAGE = 80  # columns when nobody tells


class Closed(Exception):
    """Nobody reads standard output any more."""


def write(text: str) -> None:
    """Write to standard output; quiet when its reader has left (`| head`) or it was closed from the start.

    Raises `Unusable` when it cannot take the text for another reason (a full disk).
    """
    with contextlib.suppress(Closed):
        write_part(text)


def write_part(text: str) -> None:
    """As `write`, of a text that goes on: raises `Closed` when its reader has left, since the rest is for nobody."""
    if sys.stdout is None:
        return
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        silence()
        raise Closed from None
    except OSError as error:
        silence()
        raise Unusable(f"standard output cannot be written: {error.strerror}") from None


def silence() -> None:
    """Flush standard output now; if that fails, make Python's own flush at the end of the program succeed."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except (OSError, ValueError):
        try:
            null = os.open(os.devnull, os.O_WRONLY)
            os.dup2(null, sys.stdout.fileno())
            os.close(null)
        except (OSError, ValueError):
            pass


def width() -> int:
    """Columns of the terminal; COLUMNS decides when it is set, 80 when nobody tells."""
    try:
        told = int(os.environ.get("COLUMNS", ""))
        if told > 0:
            return told
    except ValueError:
        pass
    try:
        return os.get_terminal_size(_file(sys.stdout)).columns or PAGE
    except (OSError, ValueError):
        return PAGE


def coloured(no_colour: bool) -> bool:
    """Whether colours may be used: only on a terminal, and never against NO_COLOR (https://no-color.org)."""
    if no_colour or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" or sys.stdout is None:
        return False
    return sys.stdout.isatty()


def only_ascii(asked: bool) -> bool:
    """Whether to keep to ASCII: asked for, or the output's encoding or the locale has no more.

    In the C locale Python itself writes UTF-8 (PEP 540), whatever the terminal shows.
    """
    if asked or sys.stdout is None:
        return True
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "").replace("_", "")
    if encoding != "utf8":
        return True
    locale = next((value for name in ("LC_ALL", "LC_CTYPE", "LANG") if (value := os.environ.get(name))), "")
    return locale in ("C", "POSIX") and "PYTHONIOENCODING" not in os.environ


def _file(stream: TextIO | None) -> int:
    if stream is None:
        raise OSError
    return stream.fileno()
