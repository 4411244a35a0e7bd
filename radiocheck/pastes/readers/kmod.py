"""`modprobe` and `modinfo` of a module that this kernel lacks, drivers that it says it has, and which kernel it is."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.mentions import in_container
from radiocheck.pastes.piece import Piece

TITLE = "modprobe, modinfo, uname, ls /lib/modules"

# kmod, tools/modprobe.c and tools/modinfo.c: they find built-in modules, too; busybox, modutils/modprobe.c.
_ABSENT = re.compile(
    r"\bmodprobe: (?:FATAL|ERROR): [Mm]odule (?P<probed>[\w-]{2,55}) not found(?: in directory|\.|\s*$)"
    r"|\bmodinfo: ERROR: [Mm]odule (?P<asked>[\w-]{2,55}) not found"
    r"|\bmodprobe: module (?P<small>[\w-]{2,55}) not found in modules\.dep"
    r"|\bmodprobe: can't load module (?P<folder>[\w-]{2,55}) \(\S{1,200}\): No such file"
    r"|\bmodinfo: module '(?P<info>[\w-]{2,55})' not found"
    r"|\bFailed to find module '(?P<load>[\w-]{2,55})'"  # systemd, src/shared/module-util.c
)
_REGISTERED = re.compile(
    r"\busbcore: registered new interface driver (?P<name>[\w-]{2,40})\s*$"
)  # drivers/usb/core/driver.c
_RELEASE = r"\d{1,2}\.\d{1,3}(?:\.\d{1,4})?[\w.+~-]{0,60}"
_RELEASE_LINE = re.compile(rf"^\s*(?P<release>{_RELEASE})\s*$")
# modprobe looks into the folder of the kernel that runs.
_SEARCHED = re.compile(rf"\bmodprobe: \w{{4,8}}: .{{1,90}}/lib/modules/(?P<release>{_RELEASE})")
_LIST = re.compile(r"ls (?:-1 )?(?:/usr)?/lib/modules/?\s*$")
_UNAME = re.compile(rf"^\s*Linux (?P<host>[\w.-]{{1,64}}) (?P<release>{_RELEASE}) #\d")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Modules that are not there, the release of the kernel that runs, and whether it has a folder of modules."""
    asked = False
    listing = False
    runs: dict[str, int] = {}  # releases that are told to run, each with its line
    kept: dict[str, int] = {}  # folders of modules
    for line in lines:
        text = line.text[:400]
        if line.prompt is not None:
            listing = _LIST.match(line.prompt) is not None and not in_container(line)
            asked = re.match(r"uname (?:-r|--kernel-release)\s*$", line.prompt) is not None
            continue
        if "new interface driver" in text and (match := _REGISTERED.search(text)):
            yield Piece("module", (line.number,), {"name": match["name"].replace("-", "_"), "loaded": True})
        elif "odule" in text and (match := _ABSENT.search(text)):
            name = next(filter(None, match.groups())).replace("-", "_")
            yield Piece("module", (line.number,), {"name": name, "loaded": False, "available": False})
        elif match := _UNAME.match(text) or (_RELEASE_LINE.match(text) if asked else None):
            runs[match["release"]] = line.number
            yield Piece("host", (line.number,), {"kernel": match["release"]})
        elif listing and (names := text.split()) and all(re.fullmatch(_RELEASE, name) for name in names):
            kept |= dict.fromkeys(names, line.number)
        if "/lib/modules/" in text and (match := _SEARCHED.search(text)):
            runs.setdefault(match["release"], line.number)
        if text.strip():
            asked = False
    if len(runs) == 1 and kept and not runs.keys() & kept.keys():
        yield Piece("host", (*runs.values(), *kept.values()), {"module_files": False})
