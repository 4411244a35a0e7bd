"""Reading sysfs attributes and links so that what is refused or garbled becomes a gap."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap

from .machine import Machine, decoded, refused


def read_value(machine: Machine, path: str, what: str, parse: Callable[[str], Any], gaps: list[Gap]) -> Any:
    """The file's parsed text; absent, with a gap, when it is refused or garbled; absent when there is no file.

    `parse` raises `ValueError` or `KeyError` for text that it does not understand.
    """
    try:
        text = machine.attribute(path)
        return UNSET if text is None else parse(text.replace("\0", "").strip())
    except OSError as error:
        gaps.append(refused(what, error))
    except (ValueError, KeyError) as error:
        gaps.append(Gap(what=what, why="malformed", detail=str(error)[:80]))
    return UNSET


def linked_name(machine: Machine, link: str, what: str, gaps: list[Gap]) -> Any:
    """The name behind a link; null when there is no link; absent, with a gap, when it is refused."""
    try:
        name = machine.target(link)
        return name if name is None else decoded(name)
    except OSError as error:
        gaps.append(refused(what, error))
        return UNSET
