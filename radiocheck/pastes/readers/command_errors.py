"""A command that could not say anything: not installed, not permitted, nothing there."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.mentions import in_container
from radiocheck.pastes.piece import Piece
from radiocheck.pastes.strerror import words

TITLE = "a command that failed"

_TOOLS = "lsusb lspci udevadm lsof fuser virsh usb-devices journalctl systemctl getfacl iw nmcli dmesg lsmod".split()
_TOOL = f"(?P<command>{'|'.join(_TOOLS)})"
# Shells: bash (translated behind the name), dash and busybox, zsh, fish; sudo.
_NOT_FOUND = re.compile(
    rf"(?:^|[\s:]){_TOOL}: (?:command not found|not found|inaccessible or not found|[^\W\d]{{5,20}} nicht gefunden"
    r"|commande introuvable|orden no encontrada|no se encontró la orden|comando non trovato|nie znaleziono polecenia"
    r"|команда не найдена|comando não encontrado|opdracht niet gevonden|příkaz nenalezen|kommandot finns inte)"
)
_NOT_FOUND_AFTER = re.compile(
    rf"(?:command not found: |Unknown command:? ['\"]?|executable file not found \S{{1,20}} ['\"]?){_TOOL}\b"
)
_DMESG = re.compile(rf"dmesg: [^:]{{1,80}}: (?P<why>{words('EPERM', 'EACCES')})")
_JOURNAL = re.compile(
    r"No journal files were (?:found|opened due to insufficient permissions)|not seeing messages from other users"
)
_LSUSB = re.compile(r"unable to initialize (?:libusb: -?\d{1,3}|usb spec)", re.IGNORECASE)
_NODE = (
    r"(?P<path>/dev/(?:serial(?:/by-(?:id|path)(?:/[\w.:+-]{1,200})?)?|tty(?:USB|ACM)[\w*?\[\]{},-]{1,20}"
    r"|bus/usb(?:/\d{3}){0,2}))"
)
_NONE = re.compile(
    rf"(?:\b(?:ls|stat|getfacl|cat|readlink): |cannot access |statx )[^/]{{0,60}}{_NODE}/?['\"’»”]?"
    rf"[^/]{{0,40}}(?:{words('ENOENT', 'ENODEV')})"
    r"|(?:no matches found: |No matches for wildcard ')"
)
_NONE_PATH = re.compile(_NODE)
_UDEV = re.compile(r"(?:Unknown device \"?|[Dd]evice node not found|Node name not found)")
_VIRSH = re.compile(
    r"(?:error|Fehler|erreur|ошибка|błąd): (?:failed to connect to the hypervisor|Failed to connect socket)", re.I
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """What was asked, and why nothing came."""
    asked: str | None = None
    inside = False  # of a container: what is missing there may be on its machine
    for line in lines:
        if line.prompt is not None:
            asked = line.prompt
            inside = in_container(line)
            continue
        text = line.text[:600]
        if not inside and (found := _told(text, asked)):
            command, kind = found
            yield Piece("command-error", (line.number,), {"command": command, "kind": kind, "text": text})


def _told(text: str, asked: str | None) -> tuple[str, str] | None:
    """The command that said nothing, and why: no-tool, denied, failed, nothing-there.

    Each expression is preceded by a fixed piece of it: most lines hold none.
    """
    if any(tool in text for tool in _TOOLS):
        if match := _NOT_FOUND.search(text) or _NOT_FOUND_AFTER.search(text):
            return match["command"], "no-tool"
        if "dmesg: " in text and _DMESG.search(text):
            return "dmesg", "denied"
    if ("journal files" in text or "other users" in text) and _JOURNAL.search(text):
        return "journalctl", "denied"
    if "nable to initialize" in text and _LSUSB.search(text):
        return "lsusb", "failed"
    if ("hypervisor" in text or "connect socket" in text) and _VIRSH.search(text):
        return "virsh", "failed"
    if "/dev/" in text and _NONE.search(text) and (match := _NONE_PATH.search(text)):
        return f"ls -l {match['path'].rstrip('.:')}", "nothing-there"
    if ("evice" in text or "ode name" in text) and _UDEV.search(text) and (asked is None or "udevadm" in asked):
        path = _NONE_PATH.search(text) or (_NONE_PATH.search(asked) if asked else None)
        return (f"udevadm info {path['path']}", "nothing-there") if path else None
    return None
