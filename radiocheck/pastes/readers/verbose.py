"""`lsusb -v`: descriptors (usbutils, lsusb.c; names and widths of the fields have stayed)."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lsusb -v"

_HEAD = re.compile(
    r"\bBus (?P<bus>\d{1,3}) Device (?P<number>\d{1,3}): ID (?P<vid>[0-9a-f]{4}):(?P<pid>[0-9a-f]{4})", re.I
)
_FIELD = re.compile(
    r"^[^\w]{1,12}(?P<name>[a-zA-Z]\w{2,30})\s{1,20}(?P<value>0x[0-9a-f]{1,8}|[\d.]{1,8}(?:mA)?)(?:\s(?P<words>.*))?$"
)
_STRINGS = {"iManufacturer": "manufacturer", "iProduct": "product", "iSerial": "serial"}
_INTERFACE = re.compile(r"^\s{1,12}Interface Descriptor:")
_CONFIGURATION = re.compile(r"^\s{1,12}Configuration Descriptor:")
_OF_INTERFACE = {"bInterfaceClass": "class_", "bInterfaceSubClass": "subclass", "bInterfaceProtocol": "protocol"}
_DENIED = re.compile(r"Couldn't open device, some information will be missing")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One device per heading that has descriptors under it."""
    seen = _Seen()
    for line in lines:
        if head := _HEAD.search(line.text[:200]):
            yield from seen.device()
            seen = _Seen(line, head)
        elif line.prompt is not None:
            yield from seen.device()
            seen = _Seen()
        elif seen.values:
            seen.add(line)
    yield from seen.device()


class _Seen:
    """A heading and what was read of the descriptors under it."""

    def __init__(self, line: Line | None = None, head: re.Match[str] | None = None) -> None:
        self.values: dict[str, Any] = {}
        self.numbers: list[int] = []
        self.interfaces: list[dict[str, Any]] = []
        self.interface: dict[str, Any] | None = None
        self.count: int | None = None
        self.denied = False  # then strings are those of the ID database, or missing
        self.configurations = 0
        if line is not None and head is not None:
            self.values = {"bus": int(head["bus"]), "devnum": int(head["number"])}
            self.values |= {"vid": head["vid"].lower(), "pid": head["pid"].lower()}
            self.numbers = [line.number]

    def device(self) -> Iterator[Piece]:
        """The device, when more than its heading was there.

        Interfaces are those that the descriptors offer, `described`: lsusb prints them also
        of a device that has no configuration and therefore none (usbutils 014, seen).
        """
        if len(self.numbers) < 2:
            return
        if self.configurations == 1 and self.count == len(self.interfaces):
            self.values["described"] = self.interfaces
        yield Piece("device", tuple(self.numbers), self.values)

    def add(self, line: Line) -> None:
        """Note a line that matters."""
        text = line.text
        if _DENIED.search(text):
            self.denied = True
        elif _INTERFACE.match(text):
            self.interface = {}
            self.numbers.append(line.number)
        elif _CONFIGURATION.match(text):
            self.configurations += 1
            self.interface = None
        elif match := _FIELD.match(text):
            known = self.of_interface(match) if self.interface is not None else self.of_device(match)
            if known:
                self.numbers.append(line.number)

    def of_device(self, match: re.Match[str]) -> bool:
        """Note a field of the device or its configuration; True when it was one that matters."""
        name, value, words = match["name"], match["value"], (match["words"] or "").strip()
        if name in _STRINGS:
            if value == "0":
                self.values[_STRINGS[name]] = None  # index 0: the device has no such string
            elif words and not self.denied and not words.startswith("(error"):
                self.values[_STRINGS[name]] = words
            return True
        if name == "bDeviceClass":
            self.values["device_class"] = _number(value)
        elif name == "bcdDevice":
            self.values["bcd"] = value.replace(".", "").rjust(4, "0")[-4:]
        elif name == "bcdUSB":
            self.values["version"] = value
        elif name == "bNumInterfaces":
            self.count = (self.count or 0) + _number(value)
        elif name == "MaxPower" and self.configurations == 1:
            self.values["max_power_ma"] = _number(value.removesuffix("mA"))
        elif name == "bmAttributes" and self.configurations == 1:
            self.values.setdefault("self_powered", bool(_number(value) & 0x40))  # USB 2.0, table 9-10
        else:
            return False
        return True

    def of_interface(self, match: re.Match[str]) -> bool:
        """Note a field of an interface; only its first setting counts, as in sysfs."""
        name, value = match["name"], match["value"]
        interface = self.interface
        if interface is None:
            return False
        if name == "bInterfaceNumber":
            interface["number"] = _number(value)
        elif name == "bAlternateSetting":
            if value == "0":
                self.interfaces.append(interface)
        elif name == "bNumEndpoints":
            interface["endpoints"] = _number(value)
        elif name in _OF_INTERFACE:
            interface[_OF_INTERFACE[name]] = _number(value)
        else:
            return False
        return True


def _number(text: str) -> int:
    """A number as lsusb prints it; what is none counts as 0."""
    try:
        return int(text, 16) if text.lower().startswith("0x") else int(text or "0")
    except ValueError:
        return 0
