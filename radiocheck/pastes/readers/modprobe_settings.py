"""Lines of modprobe.d(5) that keep a module from being loaded: `blacklist`, and `install` with nothing to run.

A line counts where its file is named: before it by grep, or by the command or heading above it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "modprobe.d"

_FILE = r"/(?:etc|run|usr/lib|lib|usr/local/lib)/modprobe\.d/[\w.@+-]{1,80}\.conf"
_NAMED = re.compile(_FILE)
_LINE = re.compile(
    rf"^\s{{0,12}}(?:(?P<file>{_FILE}):(?:\d{{1,5}}:)?\s{{0,8}})?"
    r"(?P<words>blacklist\s{1,8}(?P<black>[\w-]{2,55})"
    r"|install\s{1,8}(?P<install>[\w-]{2,55})\s{1,8}(?:/usr)?/bin/(?:true|false))\s{0,40}(?:#.{0,200})?$"
)
# On the kernel's command line
_BOOT = re.compile(r"\b(?P<words>(?:modprobe\.blacklist|module_blacklist)=(?P<names>[\w,-]{2,200}))")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One piece for each module that is kept out, with the file and the line that do it."""
    file: str | None = None
    for line in lines:
        text = (line.prompt if line.prompt is not None else line.text)[:400]
        match = _LINE.match(text) if line.prompt is None else None
        if match is not None and (match["file"] or file):
            name = (match["black"] or match["install"]).replace("-", "_")
            reason = f"{match['file'] or file}: {' '.join(match['words'].split())}"
            yield Piece("module", (line.number,), {"name": name, "blocked_by": reason})
        elif line.prompt is None and "BOOT_IMAGE" in text and (boot := _BOOT.search(text)):
            for name in boot["names"].split(","):
                if len(name) > 1:
                    reason = f"/proc/cmdline: {boot['words']}"
                    yield Piece("module", (line.number,), {"name": name.replace("-", "_"), "blocked_by": reason})
        elif (line.prompt is not None and not _is_remark(line)) or _NAMED.search(text):
            found = _NAMED.search(text)
            file = found[0] if found else None


def _is_remark(line: Line) -> bool:
    """A remark of the file, which looks like root's prompt; a command names some option or path."""
    return line.text.lstrip().startswith("#") and re.search(r"[/|]| -", line.text[:400]) is None
