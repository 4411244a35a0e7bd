"""Settings that keep a program from device nodes: of systemd's units, and what a flatpak or a snap was given.

systemd.exec(5), PrivateDevices=; systemd.resource-control(5), DevicePolicy= and DeviceAllow=;
flatpak-metadata(5), [Context] devices=: only `all` has serial ports.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from msgspec import UNSET

from radiocheck.evidence.serial import Service
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "a sandbox's settings"
KIND = "sandboxed"

_READ = 400  # characters of a line that are looked at
_ASKED = re.compile(
    r"^(?:systemctl (?:cat|show|edit)|cat|bat|less) .{0,80}?(?P<unit>[\w@.\\:-]{1,80})(?:\.service)?\s*$"
)
# The heading of each file that `systemctl cat` shows; at first sight a command at root's prompt
_HEAD = re.compile(r"^\W{0,4}(?:/[\w@.\\:-]{1,60}){1,6}/(?P<unit>[\w@.\\:-]{1,80}\.service)(?:\.d/\S{1,80})?:?$")
_SETTING = re.compile(r"^\s{0,8}(?P<key>[A-Z][A-Za-z]{2,40})\s?=\s?(?P<value>.{0,300}?)\s*$")
_YES = frozenset({"yes", "true", "on", "1"})  # systemd.syntax(7)
_TTY = re.compile(r"\b(?P<tty>tty(?:USB|ACM)\d{1,4})\b")
_SERIAL = re.compile(r"/dev/(?:tty(?:USB|ACM)|serial|bus/usb)|char-(?:tty(?:USB|ACM)|usb|\*)")
_APP = re.compile(r"^flatpak (?:info|run|override)\b.{0,80}?\s(?P<app>[A-Za-z][\w-]{0,40}(?:\.[\w-]{1,60}){2,5})\s*$")
# snap(8), `snap connections`: interface, plug, slot; a plug without a slot is not connected
_SNAP = re.compile(r"^snap connections? (?P<app>[a-z][\w-]{1,40})\s*$")
_PLUG = re.compile(r"^\s{0,4}(?P<interface>raw-usb|serial-port)\s{1,40}\S{1,80}\s{1,60}-(?:\s|$)")
_DEVICES = re.compile(r"^\s{0,8}devices=(?P<given>[\w!;-]{0,100});?\s*$")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each sandbox that keeps serial ports out, with the words that say so as its policy."""
    asked: str | None = None
    snap: re.Match[str] | None = None
    found = _Unit(None)
    for line in lines:
        text = line.text.strip()[:_READ]
        if match := _HEAD.match(text):
            if match["unit"] != found.unit:  # else one more file of the same unit
                yield from found.pieces()
                found = _Unit(match["unit"])
        elif line.prompt is not None:
            yield from found.pieces()
            match = _ASKED.match(line.prompt[:_READ])
            found = _Unit(match["unit"] if match else None)
            app = _APP.match(line.prompt[:_READ])
            asked = app["app"] if app else asked if "flatpak" in line.prompt else None
            snap = _SNAP.match(line.prompt[:_READ])
        elif snap and (match := _PLUG.match(text)):
            policy = f"plug {match['interface']} not connected"
            yield Piece("service", (line.number,), Service(kind=KIND, unit=snap["app"], policy=policy))
        elif match := _DEVICES.match(text):
            given = match["given"].split(";")
            if asked is not None and "all" not in given:
                yield Piece("service", (line.number,), Service(kind=KIND, unit=asked, policy=text))
        elif match := _SETTING.match(text):
            found.setting(match["key"], match["value"], text, line.number)
    yield from found.pieces()


class _Unit:
    """The settings of one unit, as far as they were pasted; the last word about each counts."""

    def __init__(self, unit: str | None) -> None:
        self.unit = unit if unit is None or unit.endswith(".service") else f"{unit}.service"
        self.private: tuple[str, int] | None = None
        self.closed: tuple[str, int] | None = None
        self.allowed = False
        self.tty: str | None = None

    def setting(self, key: str, value: str, text: str, number: int) -> None:
        if key == "PrivateDevices":
            self.private = (text, number) if value.lower() in _YES else None
        elif key == "DevicePolicy":
            self.closed = (text, number) if value in ("closed", "strict") else None
        elif key == "DeviceAllow":
            self.allowed = self.allowed or _SERIAL.search(value) is not None
        elif key == "ExecStart" and (match := _TTY.search(value)):
            self.tty = match["tty"]

    def pieces(self) -> Iterator[Piece]:
        """Private devices leave no serial node, whatever is allowed; a closed policy leaves what is allowed."""
        said = self.private or (None if self.allowed else self.closed)
        if said is not None:
            state = Service(kind=KIND, unit=self.unit or "a unit", policy=said[0], tty=self.tty or UNSET)
            yield Piece("service", (said[1],), state)
