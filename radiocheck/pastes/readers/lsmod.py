"""`lsmod`: modules that are loaded (kmod, tools/lsmod.c: "Module                  Size  Used by")."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lsmod"

_HEADING = re.compile(r"Module\s{1,40}Size\s{1,10}Used by")
_ROW = re.compile(
    r"^\W{0,6}(?P<name>[a-z]\w{1,55})\s{1,40}(?P<size>\d{3,9})\s{1,8}-?\d{1,4}(?:\s{1,4}(?P<by>[\w,.\[\]-]{0,400}))?\s*$"
)
_PROC = re.compile(
    r"^(?P<name>[a-z]\w{1,55}) \d{3,9} \d{1,4} [\w,-]{1,400} (?:Live|Loading|Unloading) 0x[0-9a-f]{1,16}"
)
_WANTED = re.compile(r"usb|acm|cp210x|ftdi|ch34|pl2303|hid|vfio|uas|qcserial|option|wwan|cdc|wdm")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each module that has to do with USB or VFIO; what uses another is loaded, too."""
    told: set[str] = set()
    for line in lines:
        if line.prompt is not None or _HEADING.search(line.text[:200]):
            continue
        match = _ROW.match(line.text[:700]) or _PROC.match(line.text[:700])
        if match is None:
            continue
        names = [match["name"]]
        if "by" in match.groupdict():
            names += re.findall(r"[a-z]\w{1,55}", match["by"] or "")
        for name in names:
            if name not in told and _WANTED.search(name):
                told.add(name)
                yield Piece("module", (line.number,), {"name": name, "loaded": True})
