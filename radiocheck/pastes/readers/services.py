"""`systemctl status`, `systemctl is-active`, lists of units and of processes: services that take ports.

systemctl(1): a bullet, the unit, then `Loaded:` and `Active:` lines.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fnmatch import fnmatchcase
from typing import Any

from msgspec.structs import replace

from radiocheck.evidence.serial import Service
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece
from radiocheck.sources.services import PROGRAMS, UNITS

TITLE = "systemctl"

# Beside those that are looked for on a live machine: drivers of a UPS daemon keep a device open through usbfs (nut(8))
_MORE = {"nut-driver@*.service": "ups-driver", "nut-driver.service": "ups-driver"}
_DRIVERS = ("usbhid-ups", "nutdrv_qx", "blazer_usb")

_STATUS = re.compile(r"^\s*[●○×*•]?\s*(?P<unit>[\w@.\\:-]{2,80}\.(?:service|socket))(?: - |\s*$)")
_LOADED = re.compile(r"^\s*Loaded: (?P<loaded>[\w-]+)(?: \([^;)]*; (?P<enabled>[\w-]+))?")
_ACTIVE = re.compile(r"^\s*Active: (?P<active>[\w-]+)")
_ROW = re.compile(
    r"^\s*[●○×*]?\s*(?P<unit>[\w@.\\:-]{2,80}\.(?:service|socket))\s+(?P<loaded>loaded|not-found|masked)\s+(?P<active>\w+)\s+\w+"
)
_ASKED = re.compile(r"systemctl (?:is-active|is-enabled) (?P<unit>[\w@.-]+)")
_MISSING = re.compile(r"^\s*Unit (?P<unit>[\w@.\\:-]{2,80}\.(?:service|socket)) could not be found")
_PS = re.compile(
    r"^[\s│├└─|`-]*(?:[\w.+-]{1,32}\s+)?\d{1,8}\s+.*?(?:[\s/])(?P<program>ModemManager|brltty|gpsd|usbguard-daemon|agetty|usbhid-ups|nutdrv_qx|blazer_usb)\b(?!\[)(?P<rest>.*)$"
)
_TREE = re.compile(r"^\s*[│├└|`]")  # processes of the unit itself
_READ = 1_000  # characters of a line that are looked at
_TTY = re.compile(r"\btty(?:USB|ACM)\d{1,4}\b")
_POLICY = re.compile(r"--filter-policy=(?P<policy>[\w-]+)")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Known services with their states."""
    found: dict[str, Any] | None = None
    numbers: list[int] = []
    asked: str | None = None
    for line in lines:
        line = line if len(line.text) <= _READ else replace(line, text=line.text[:_READ])
        if line.prompt is not None:
            match = _ASKED.search(line.prompt)
            asked = match["unit"] if match else None
            if found:
                yield Piece("service", tuple(numbers), Service(**found))
            found = None
            continue
        if asked is not None and line.text.strip() in ("active", "inactive", "failed", "unknown"):
            unit = asked if "." in asked else f"{asked}.service"
            if kind := _kind(unit):
                state: dict[str, Any] = {
                    "kind": kind,
                    "unit": unit,
                    "active": line.text.strip() == "active",
                    "tty": _tty(unit),
                }
                yield Piece("service", (line.number,), Service(**state))
            asked = None
        elif (match := _MISSING.match(line.text)) and (kind := _kind(match["unit"])):
            yield Piece("service", (line.number,), Service(kind=kind, unit=match["unit"], active=False, enabled=False))
        elif (match := _ROW.match(line.text)) and (kind := _kind(match["unit"])):
            active = match["active"] in ("active", "activating")
            yield Piece(
                "service",
                (line.number,),
                Service(kind=kind, unit=match["unit"], active=active, tty=_tty(match["unit"])),
            )
        elif match := _STATUS.match(line.text):
            if found:
                yield Piece("service", tuple(numbers), Service(**found))
            kind = _kind(match["unit"])
            found = {"kind": kind, "unit": match["unit"], "tty": _tty(match["unit"])} if kind else None
            numbers = [line.number]
        elif found and (match := _LOADED.match(line.text)):
            if match["enabled"]:
                found["enabled"] = match["enabled"].startswith("enabled")
            numbers.append(line.number)
        elif found and (match := _ACTIVE.match(line.text)):
            found["active"] = match["active"] in ("active", "activating", "reloading")
            numbers.append(line.number)
        elif found and not line.text.strip():
            yield Piece("service", tuple(numbers), Service(**found))
            found = None  # after a blank line systemctl shows the unit's log
        elif (match := _PS.match(line.text)) and not (found and _TREE.match(line.text)) and "grep" not in line.text:
            yield from _running(match, line)
        if found and (policy := _POLICY.search(line.text)):
            found["policy"] = policy["policy"].lower()
    if found:
        yield Piece("service", tuple(numbers), Service(**found))


def _running(match: re.Match[str], line: Line) -> Iterator[Piece]:
    """A process list: the program runs, whatever the unit is called."""
    tty = _TTY.search(match["rest"])
    kind = "ups-driver" if match["program"] in _DRIVERS else PROGRAMS[match["program"]]
    state: dict[str, Any] = {"kind": kind, "unit": match["program"], "active": True}
    if state["kind"] == "serial-console" and tty is None:
        return
    if tty is not None:
        state["tty"] = tty[0]
    if policy := _POLICY.search(match["rest"]):
        state["policy"] = policy["policy"].lower()
    yield Piece("service", (line.number,), Service(**state))


def _kind(unit: str) -> str | None:
    return next((kind for pattern, kind in (UNITS | _MORE).items() if fnmatchcase(unit, pattern)), None)


def _tty(unit: str) -> str | None:
    instance = unit.partition("@")[2].rpartition(".")[0]
    return instance.rpartition("-")[2] if instance and _TTY.search(instance) else None
