"""Configuration of programs that names a port which the same paste shows not to exist.

A configuration is no failure: that the port is missing must be shown by `ls`.  Then it says
what the program would say itself (`No such file or directory`), if its words were pasted.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.evidence.serial import AppMessage
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece
from radiocheck.pastes.strerror import words

TITLE = "a program's configuration"

_READ = 400  # characters of a line that are looked at
_NODE = r"/dev/tty(?:USB|ACM)\d{1,3}"
# YAML, INI, shell and JSON: a word for a port, then the node and nothing else.
_SETTING = re.compile(
    r"^\s{0,40}(?:- )?(?:export )?['\"]?(?:[^\W_]{1,20}[_.-]){0,3}"
    r"(?:serial|ports?|devices?|dev|tty|path|modem|usb|uart|node|adapter|gps|url"
    r"|puertos?|porta|port serie|порт|устройство|anschluss|schnittstelle|ger(?:ä|ae)t|appareil|périph[ée]rique"
    r"|dispositivo|urządzenie|poort|apparaat|enhet|laite|zařízení)(?:[_.-]?(?:port|device|path|name))?['\"]?"
    rf"\s{{0,20}}(?:=|:)\s{{0,20}}['\"\[]{{0,2}}(?:serial:(?://)?|file:)?(?P<node>{_NODE})"
    r"['\"\]]{0,2},?\s{0,20}(?:[#;].{0,200})?$",
    re.IGNORECASE,
)
# A unit's command, and a program of a shell with an option for its port
_COMMAND = re.compile(r"^\s{0,8}Exec(?:Start|StartPre)=\S")
_OPTION = re.compile(rf"\s(?:--(?:serial-?)?(?:port|device|tty)(?:[= ])|-[pPdD] ?)['\"]?(?P<node>{_NODE})\b")
_LISTED = re.compile(rf"(?<![\w/]){_NODE}\b")
_PATTERN = re.compile(r"(?P<kind>/dev/tty(?:USB|ACM))\*")
_BRACES = re.compile(r"/dev/tty(?:\{(?:USB,ACM|ACM,USB)\}|\[(?:UA|AU)\])?\*")
_ABSENT = re.compile(
    rf"\b(?:ls|stat): [^/]{{0,60}}(?P<node>{_NODE}|/dev/tty(?:USB|ACM)\*)['\"’»”]?(?::|\s|\u3000|에|$)"
    rf"[^/]{{0,60}}(?:{words('ENOENT')})"
)
_MADE = re.compile(
    r"(?:attached to |crw.{10,80}/dev/|-> \S{0,9}|: )(?P<tty>tty(?:USB|ACM)\d{1,3})(?:: USB ACM device)?\s{0,4}$"
)
_LS = re.compile(r"^ls\b[^|;&>]{0,300}$")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One message for each setting whose port is missing by the last list of nodes."""
    settings = [(line, match["node"]) for line in lines if (match := _setting(line))]
    if not settings:
        return
    missing = _missing(lines, {node for _, node in settings})
    for line, node in settings:
        if node in missing:
            numbers = tuple(sorted({line.number, missing[node]}))
            yield Piece("app", numbers, AppMessage(kind="missing", path=node, text=line.text.strip()[:_READ]))


def _setting(line: Line) -> re.Match[str] | None:
    text = line.text[:_READ]
    if "/dev/tty" not in text or line.prompt is not None:
        return None
    return _SETTING.match(text) or (_OPTION.search(text) if _COMMAND.match(text) else None)


def _missing(lines: Sequence[Line], nodes: set[str]) -> dict[str, int]:
    """Those nodes that are not there, each with the line that shows it; the last word about each counts."""
    missing: dict[str, int] = {}
    kinds: set[str] = set()  # of ttys, which the running command lists completely
    listed: dict[str, int] = {}  # by that command
    for line in [*lines, Line(0, "", "")]:
        if line.prompt is not None:
            there = {_kind(node) for node in listed} & kinds
            number = max(listed.values(), default=0)
            missing |= {node: number for node in nodes if _kind(node) in there and node not in listed}
            kinds, listed = _asked(line.prompt), {}
            continue
        text = line.text[:_READ]
        if match := _ABSENT.search(text):
            absent = match["node"]
            missing |= {node: line.number for node in nodes if absent in (node, f"{_kind(node)}*")}
        elif kinds and not _setting(line):
            listed |= dict.fromkeys(_LISTED.findall(text), line.number)
        if match := _MADE.search(text):
            listed[f"/dev/{match['tty']}"] = line.number
        for node in nodes & set(listed):
            missing.pop(node, None)
    return missing


def _kind(node: str) -> str:
    return node.rstrip("0123456789")


def _asked(prompt: str) -> set[str]:
    if not _LS.match(prompt):
        return set()
    kinds = {match["kind"] for match in _PATTERN.finditer(prompt[:_READ])}
    return {"/dev/ttyUSB", "/dev/ttyACM"} if _BRACES.search(prompt[:_READ]) else kinds
