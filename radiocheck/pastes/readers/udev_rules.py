"""Lines of udev rules files, and what udev says of those that it does not take.

A line of rules is taken where it is a whole line of the paste (or of a `grep` or an `echo`), and
parses as udev parses it.  What udev refuses it says itself, with file and line number.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fnmatch import fnmatchcase

from msgspec import UNSET, UnsetType
from msgspec.structs import replace

from radiocheck.evidence.serial import UdevRule
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece
from radiocheck.pastes.strerror import words
from radiocheck.pastes.udev_rule import KEYS, fault, kernel, names, parts, wanted

TITLE = "udev rules"

_READ = 1_500  # characters of a line that are looked at
_JOINED = 8  # lines that backslashes may join
MOST = 200  # lines of rules
_KEY = "|".join(sorted(KEYS))
_RULE = re.compile(
    r"^\s{0,12}(?:(?P<file>/\S{1,200}\.rules)?[:-]?(?:(?P<number>\d{1,5})[:-])?)?\s{0,8}"
    rf"(?P<rule>(?:{_KEY})(?:\{{[^{{}}\n]{{1,80}}\}})?\s{{0,20}}(?:==|!=|[-+:]?=\+?)\s{{0,20}}[ei]?\".*)$"
)
_ECHO = re.compile(
    rf"^(?:echo|printf)\b[^']{{0,20}}'(?P<rule>(?:{_KEY})(?:\{{[^{{}}']{{1,80}}\}})?\s?[-+:!=]=?[^']{{3,900}})'"
)
_FILE = re.compile(r"(?P<file>/(?:etc|run|usr/lib|lib)/udev/rules\.d/[\w.@+-]{1,80}\.rules)\b")
_AT = r"(?P<file>/?[\w./@+-]{1,200}\.rules):(?P<number>\d{1,6}):? "
# systemd 252's own strings; those of older ones from memory (src/udev/udev-rules.c)
_REFUSED = re.compile(
    _AT + r"(?:\w{2,12}: )?(?:Invalid operator for \w{2,12}|Invalid key/value pair|Invalid key '[^']{1,60}'"
    r"|Invalid attribute for \w{2,12}|The line (?:takes|has) no effect|Failed to parse mode '[^']{1,20}')"
    r"|[Ii]nvalid rule '(?P<old_file>/[\w./@+-]{1,200}\.rules):(?P<old_number>\d{1,6})'"
    r"|invalid key/value pair in file (?P<pair_file>/[\w./@+-]{1,200}\.rules) on line (?P<pair_number>\d{1,6})"
)
_LINK = re.compile(r"\bSYMLINK\s{0,4}[-+:=]{1,3}\s{0,4}\"(?P<value>[^\"\n]{1,200})\"")
_PATH = re.compile(r"/dev/[\w./*?\[\]-]{1,60}")
_ENOENT = re.compile(words("ENOENT"))
_ARROW = re.compile(r"(?:^|[\s/])(?P<name>[\w.-]{1,60}) -> \S{1,60}$")
_MADE = re.compile(r"^\s{0,4}S: ?(?P<name>[\w./-]{1,60})$|\bLINK '(?P<link>[^']{1,60})'")
_KERNELS = re.compile(r"/dev/(?:tty|serial|bus|input|disk|snd|dri|video|hidraw|null|sd|mapper|pts)")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each line of rules, with what is wrong with it and whether its names are there; then what udev refused."""
    found = list(_rules(lines))[:MOST]
    well = {name for _, rule in found if rule.fault is None for name in rule.names}
    for numbers, rule in found:
        made, shown = _made(lines, rule.names)
        if rule.fault is not None and well.intersection(rule.names):
            rule = replace(rule, fault=None, words="")  # there is another line for that name, which is well
        yield Piece("udev_rule", tuple(sorted({*numbers, *shown})), replace(rule, made=made))
    if any(rule.fault == "operator" or rule.fault == "no-effect" for _, rule in found):
        return  # udev says the same of it
    yield from _refused(lines, {name for _, rule in found for name in rule.names})


def _rules(lines: Sequence[Line]) -> Iterator[tuple[tuple[int, ...], UdevRule]]:
    file = ""
    skip = 0
    for index, line in enumerate(lines):
        if skip:
            skip -= 1
            continue
        if named := _FILE.search(line.text[:400]):
            file = named["file"]
        text = line.text[:_READ]
        match = _ECHO.match(line.prompt[:_READ]) if line.prompt is not None else _RULE.match(text)
        if match is None:
            continue
        rule, numbers = match["rule"], [line.number]
        while rule.endswith("\\") and skip < _JOINED and index + skip + 1 < len(lines):
            skip += 1
            rule = f"{rule[:-1]} {lines[index + skip].text.strip()[:_READ]}"
            numbers.append(lines[index + skip].number)
        line_parts = parts(rule)
        if line_parts is None or len(line_parts) < 2:
            continue
        wrong = fault(line_parts)
        yield (
            tuple(dict.fromkeys(numbers)),
            UdevRule(
                text=rule.strip()[:400],
                path=file,
                names=names(line_parts),
                vid=wanted(line_parts, "idVendor"),
                pid=wanted(line_parts, "idProduct"),
                serial=wanted(line_parts, "serial"),
                kernel=kernel(line_parts),
                fault=wrong.kind if wrong is not None else None,
                words=wrong.words if wrong is not None else "",
            ),
        )


def _made(lines: Sequence[Line], wanted_names: Sequence[str]) -> tuple[bool | UnsetType, list[int]]:
    """Whether names are under /dev by the last word about them, and the lines that say it."""
    made: bool | UnsetType = UNSET
    shown: list[int] = []
    for line in lines:
        text = line.text[:_READ]
        if not wanted_names or (line.prompt is not None and not _ENOENT.search(text)):
            continue
        said = _says(text, wanted_names)
        if said is not None:
            made, shown = said, [line.number]
    return made, shown


def _says(text: str, wanted_names: Sequence[str]) -> bool | None:
    if "/dev/" in text and _ENOENT.search(text):
        paths = _PATH.findall(text)[:20]
        return False if any(fnmatchcase(f"/dev/{one}", path) for one in wanted_names for path in paths) else None
    if (match := _ARROW.search(text)) and any(match["name"] == one.rpartition("/")[2] for one in wanted_names):
        return True
    if (match := _MADE.search(text)) and (match["name"] or match["link"]) in wanted_names:
        return True
    listed = _PATH.findall(text)[:20] if text.startswith(("/dev/", "crw", "lrw")) else []
    return True if any(f"/dev/{one}" in listed for one in wanted_names) else None


def _refused(lines: Sequence[Line], parsed: set[str]) -> Iterator[Piece]:
    """A line of the machine's own rules that udev did not take, if a name is missing that it may have been for."""
    meant = {word for line in lines for match in _LINK.finditer(line.text[:_READ]) for word in match["value"].split()}
    missing = {
        path: line.number
        for line in lines
        if "/dev/" in line.text[:_READ] and _ENOENT.search(line.text[:_READ])
        for path in _PATH.findall(line.text[:_READ])[:20]
        if not _KERNELS.match(path)
    }
    for line in lines:
        match = _REFUSED.search(line.text[:_READ])
        if match is None:
            continue
        file = match["file"] or match["old_file"] or match["pair_file"]
        if "/" in file and not file.startswith(("/etc/udev/", "/run/udev/")):
            continue  # of a package, and mostly without harm
        own = sorted(meant - parsed)
        made, shown = _made(lines, own) if own else (UNSET, [])
        if not own and missing:
            made, shown = False, [max(missing.values())]
        if made is False:
            numbers = tuple(sorted({line.number, *shown}))
            rule = UdevRule(text=match[0], path=file, names=own, fault="refused", words=match[0], made=made)
            yield Piece("udev_rule", numbers, rule)
            return
