"""Attributes of sysfs that somebody printed: `cat /sys/bus/usb/devices/1-2/authorized`, `grep . …/*`, `head …`.

With `grep` the file's name stands before the value; `head` and `tail` put it above; after
`cat FILE…` the values are the next lines, one per file.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "attributes of sysfs"

_FILE = (
    r"/sys/(?:bus/usb/devices|devices/[^\s:]{1,100}(?::[^\s:]{1,100}){0,6}?)/"
    r"(?P<device>usb\d{1,3}|\d{1,3}-[\d.]{1,20})(?P<interface>:\d{1,2}\.\d{1,3})?/(?P<name>[\w/]{1,40})"
)
_GREP = re.compile(rf"^\W{{0,4}}(?:\d{{1,5}}[:|\t ] {{0,4}})?{_FILE}(?::| = |=)(?P<value>.{{0,300}})$")
_HEADER = re.compile(rf"^==> {_FILE} <==$")
_WORD = re.compile(rf"^{_FILE}$")
_CAT = re.compile(r"^(?:cat|head|tail)\s+(?P<files>[^|;&<>]{1,2000})$")
_TEXTS = {
    "idVendor": "vid",
    "idProduct": "pid",
    "serial": "serial",
    "product": "product",
    "manufacturer": "manufacturer",
    "bcdDevice": "bcd",
    "devpath": "path",
    "removable": "removable",
}
_HEX = {"vid", "pid", "bcd"}
_NUMBERS = {
    "busnum": "bus",
    "devnum": "devnum",
    "bConfigurationValue": "configuration",
    "maxchild": "ports",
    "authorized_default": "authorized_default",
    "urbnum": "urbs",
    "power/connected_duration": "connected_ms",
}
_SIGNED = {"power/autosuspend_delay_ms": "autosuspend_ms"}
_POWER = {"power/control": "power_control", "power/level": "power_control", "power/runtime_status": "runtime_status"}
_OF_INTERFACE = {"bInterfaceClass": "class_", "bInterfaceSubClass": "subclass", "bInterfaceProtocol": "protocol"}


# The kernel prints nothing at all for these of a device without configuration (drivers/usb/core/sysfs.c).
_MAY_BE_EMPTY = ("bConfigurationValue", "bMaxPower", "bmAttributes", "bNumInterfaces", "configuration")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One value per piece."""
    files: list[re.Match[str] | None] = []  # of `cat`, whose values come next
    asked = 0
    values: list[Line] = []
    for line in lines:
        text = line.text.strip()[:600]
        if line.prompt is not None:
            yield from _printed(files, asked, values, ended=True)
            files, asked, values = _files(line.prompt), line.number, []
        elif text.startswith("==> "):
            yield from _printed(files, asked, values, ended=False)
            header = _HEADER.match(text)
            files, asked, values = [header] if header else [], line.number, []
        elif "/sys/" in text and (match := _GREP.match(text)):
            yield from _value(match, match["value"], (line.number,))
        elif text.startswith(("cat: ", "head: ", "tail: ")):
            files = []  # which of them failed is not worth a guess
        elif files and len(values) <= len(files):
            values.append(line)
    yield from _printed(files, asked, values, ended=False)


def _printed(files: list[re.Match[str] | None], asked: int, values: list[Line], ended: bool) -> Iterator[Piece]:
    """Values to the files that were asked; of several, only when each printed one."""
    while values and not values[-1].text.strip() and len(values) > len(files):
        values = values[:-1]
    if len(files) == 1 and not values and ended and files[0] is not None and files[0]["name"] == _MAY_BE_EMPTY[0]:
        yield from _value(files[0], "", (asked,))
    may_be_empty = any(file is not None and file["name"] in _MAY_BE_EMPTY for file in files)
    if len(values) < len(files) or (len(files) > 1 and may_be_empty and len(values) != len(files)):
        return
    for file, line in zip(files, values, strict=False):
        if file is not None and (line.text.strip() or not may_be_empty):
            yield from _value(file, line.text, (asked, line.number))


def _files(prompt: str) -> list[re.Match[str] | None]:
    """The files whose values follow a command; none where a star leaves open which."""
    match = _CAT.match(prompt.strip())
    if match is None:
        return []
    words = [word for word in match["files"].split()[:40] if not re.fullmatch(r"-\S{0,6}|\d{1,4}", word)]
    return [] if any("*" in word or "{" in word for word in words) else [_WORD.match(word) for word in words]


def _value(file: re.Match[str], text: str, numbers: tuple[int, ...]) -> Iterator[Piece]:
    device, name, text = file["device"], file["name"], text.strip()
    if file["interface"]:
        yield from _of_interface(device, file["interface"], name, text, numbers)
        return
    value: Any = None
    if name in _TEXTS and text:
        field, value = _TEXTS[name], text
        if field in _HEX and not re.fullmatch(r"[0-9a-f]{4}", text):
            return
    elif name in _POWER and re.fullmatch(r"[a-z]{2,12}", text):
        field, value = _POWER[name], text
    elif name in _NUMBERS and (text.isdecimal() or (name == "bConfigurationValue" and not text)):
        field, value = _NUMBERS[name], int(text) if text else None  # empty: the device has no configuration
    elif name in _SIGNED and re.fullmatch(r"-?\d{1,9}", text):
        field, value = _SIGNED[name], int(text)
    elif name == "authorized" and text in ("0", "1"):
        field, value = "authorized", text == "1"
    elif name == "speed" and re.fullmatch(r"\d{1,6}(?:\.\d)?", text):
        field, value = "speed", float(text)
    elif name == "bDeviceClass" and re.fullmatch(r"[0-9a-f]{2}", text):
        field, value = "device_class", int(text, 16)
    elif name == "bMaxPower" and (match := re.fullmatch(r"(\d{1,4})mA", text)):
        field, value = "max_power_ma", int(match[1])
    elif name == "version" and re.fullmatch(r"\d\.\d\d", text):
        field, value = "version", text
    else:
        return
    yield Piece("device", numbers, {"name": device, field: value})


def _of_interface(device: str, place: str, name: str, text: str, numbers: tuple[int, ...]) -> Iterator[Piece]:
    entry: dict[str, Any] = {"name": device + place, "number": int(place.rpartition(".")[2])}
    if name in _OF_INTERFACE and re.fullmatch(r"[0-9a-f]{2}", text):
        entry[_OF_INTERFACE[name]] = int(text, 16)
    elif name == "authorized" and text in ("0", "1"):
        entry["authorized"] = text == "1"
    else:
        return
    yield Piece("device", numbers, {"name": device, "interfaces": [entry]})
