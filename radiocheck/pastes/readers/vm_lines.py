"""VMs kept as lines of `key: value`: `usb0: host=1209:7a01`, `hostpci0: 00:14.0`, `serial0: /dev/ttyUSB0`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.evidence.vm import GivenVm, PciArg, TtyArg, UsbHostArg
from radiocheck.pastes.broken import is_cut
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lines of a VM's configuration"

_KEY = re.compile(r"^\W{0,8}(?:\d{1,4}[:|\s]\s{0,6})?(?P<key>(?:usb|hostpci|serial)\d{1,2}): (?P<value>\S{1,200})\s*$")
_NAME = re.compile(r"^\W{0,8}name: (?P<name>[\w.-]{1,80})\s*$")
_OTHER = re.compile(r"^\W{0,8}[a-z][a-z0-9_-]{1,20}: ")
_USB = re.compile(
    r"(?:^|,)host=(?:(?:0x)?(?P<vid>[0-9a-f]{4}):(?:0x)?(?P<pid>[0-9a-f]{4})|(?P<bus>\d{1,3})-(?P<port>\d{1,2}(?:\.\d{1,2}){0,6}))(?=,|$)",
    re.IGNORECASE,
)
_PCI = re.compile(
    r"^(?:host=)?(?P<domain>[0-9a-f]{4}:)?(?P<slot>[0-9a-f]{2}:[0-9a-f]{2})(?P<function>\.[0-7])?(?=,|$)", re.IGNORECASE
)
_TTY = re.compile(r"^(?P<path>/dev/[\w./:+-]{3,200})$")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One VM per run of such lines."""
    found: dict[str, Any] = {}
    numbers: list[int] = []
    for line in lines:
        text = line.text[:400]
        if line.prompt is None and (name := _NAME.match(text)):
            found["name"] = name["name"]
            numbers.append(line.number)
        elif line.prompt is None and (match := _KEY.match(text)):
            if not is_cut(text) and _add(found, match["key"], match["value"]):
                numbers.append(line.number)
        elif line.prompt is not None or not _OTHER.match(text):
            yield from _vm(found, numbers)
            found, numbers = {}, []
    yield from _vm(found, numbers)


def _add(found: dict[str, Any], key: str, value: str) -> bool:
    """Note one line; True when it gives something of the host."""
    if key.startswith("usb") and (match := _USB.search(value)):
        argument = (
            UsbHostArg(id=key, vid=match["vid"].lower(), pid=match["pid"].lower())
            if match["vid"]
            else UsbHostArg(id=key, bus=int(match["bus"]), port=match["port"])
        )
        found.setdefault("arguments", []).append(argument)
    elif key.startswith("hostpci") and (match := _PCI.match(value)):
        # Without a function all of them are given; the first is the controller itself
        address = f"{match['domain'] or '0000:'}{match['slot']}{match['function'] or '.0'}".lower()
        found.setdefault("pci", []).append(PciArg(address=address))
    elif key.startswith("serial") and (match := _TTY.match(value)):
        found.setdefault("ttys", []).append(TtyArg(path=match["path"]))
    else:
        return False
    return True


def _vm(found: dict[str, Any], numbers: list[int]) -> Iterator[Piece]:
    if {"arguments", "pci", "ttys"} & set(found):
        yield Piece("given", tuple(numbers), GivenVm(manager="qemu", origin="paste", **{"name": None, **found}))
