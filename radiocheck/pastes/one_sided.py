"""Excerpts of a log that were made to show errors: that something worked afterwards cannot show in them.

`dmesg | grep -i error` and `journalctl -p err` leave out the lines of a device that comes up
(printed with dev_info, drivers/usb/core/hub.c).  An error in them may have healed at once;
that the kernel gave up shows in both.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from .line import Line

_LEVEL = re.compile(
    r"\bjournalctl\b.{0,80}\s(?:-p|--priority)[ =]?(?:[0-4]|err|error|warning|crit|alert|emerg)\b"
    r"|\bdmesg\b.{0,80}\s(?:-l|--level)[ =]?(?:err|warn|crit|alert|emerg)",
)
_GREP = re.compile(
    r"\|\s{0,4}(?:sudo )?(?:[ef]?grep|rg)\b(?P<words>[^|]{0,200})|journalctl.{0,80}(?:-g|--grep)[ =](?P<asked>.{0,120})"
)
_WORD = re.compile(r"[\w#/.-]{2,40}")
_OPTION = re.compile(r"(?:^|\s)--?[\w-]{1,20}(?==|\s|$)")
# What the kernel says of a device that comes up, in small letters
_ARRIVAL = (
    "kernel: usb 1-1: new full-speed high-speed usb device number 5 using xhci_hcd new usb device found, idvendor="
)
_GAVE_UP = re.compile(r"unable to enumerate")


def one_sided(lines: Sequence[Line]) -> frozenset[int]:
    """Numbers of the lines in excerpts that leave out success, and in which the kernel does not give up either."""
    found: set[int] = set()
    excerpt: list[Line] | None = None
    for line in lines:
        if line.prompt is not None:
            found |= _numbers(excerpt)
            excerpt = [] if _leaves_out(line.prompt[:400]) else None
        elif excerpt is not None:
            excerpt.append(line)
    return frozenset(found | _numbers(excerpt))


def _numbers(excerpt: Sequence[Line] | None) -> set[int]:
    if excerpt is None or any(_GAVE_UP.search(line.text[:400]) for line in excerpt):
        return set()
    return {line.number for line in excerpt}


def _leaves_out(prompt: str) -> bool:
    """Whether a command shows errors and no arrivals."""
    if _LEVEL.search(prompt):
        return True
    match = _GREP.search(prompt)
    if match is None or "-v" in prompt.split():
        return False
    asked = _OPTION.sub(" ", match["words"] or match["asked"] or "")
    words = [word.lower() for word in _WORD.findall(asked)]
    return bool(words) and not any(word in _ARRIVAL for word in words)
