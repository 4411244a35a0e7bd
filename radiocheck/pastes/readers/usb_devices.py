"""`usb-devices` and /sys/kernel/debug/usb/devices: blocks of T:, D:, P:, S:, C:, I: lines.

Format: Linux, Documentation/driver-api/usb/usb.rst, "/sys/kernel/debug/usb/devices output format".
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from radiocheck.pastes.broken import left_out
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "usb-devices"

_TOPOLOGY = re.compile(
    r"T:\s{1,4}Bus=\s{0,3}(?P<bus>\d{1,3}) Lev=\s{0,3}(?P<level>\d{1,2}) Prnt=\s{0,3}(?P<parent>\d{1,3}) "
    r"Port=\s{0,3}(?P<port>\d{1,3}) Cnt=\s{0,3}\d{1,3} Dev#=\s{0,3}(?P<dev>\d{1,3})\s{1,4}"
    r"Spd=\s{0,3}(?P<speed>[\d.]{1,6})"
)
_ASKED = re.compile(r"(?:\S{0,20}/)?usb-devices(?:\.sh)?\s*$|cat /(?:sys/kernel/debug|proc/bus)/usb/devices\s*$")
_IDS = re.compile(
    r"P:\s+Vendor=(?P<vid>[0-9a-f]{4}) ProdID=(?P<pid>[0-9a-f]{4}) Rev=\s{0,3}(?P<rev>[0-9a-f.]{1,6})", re.IGNORECASE
)
_CLASS = re.compile(r"D:\s+Ver=\s*(?P<ver>[\d.]+) Cls=(?P<class>[0-9a-f]{2})", re.IGNORECASE)
_STRING = re.compile(r"S:\s+(?P<which>Manufacturer|Product|SerialNumber)=(?P<value>.*)")
_CONFIGURATION = re.compile(
    r"C:(?P<active>[* ])\s{0,2}#Ifs=\s{0,2}(?P<count>\d{1,2}) Cfg#=\s{0,2}(?P<number>\d{1,3}) "
    r"Atr=(?P<atr>[0-9a-f]{2})? MxPwr=\s{0,3}(?P<power>\d{1,4})?(?:mA)?\s*$",
    re.I,
)
_INTERFACE = re.compile(
    r"I:\s?[* ]?\s*If#=\s*(?P<number>0?x?[0-9a-f]+) Alt=\s*(?P<alt>\d+) #EPs=\s*(?P<eps>\d+) Cls="
    r"(?P<class>[0-9a-f]{2})\([^)]*\) "
    r"Sub=(?P<sub>[0-9a-f]{2}) Prot=(?P<prot>[0-9a-f]{2}) Driver=(?P<driver>\S+)",
    re.IGNORECASE,
)
_NOISE = re.compile(r"(?:cat|/usr/bin/usb-devices|grep|ls): |printf: ")
_LETTERS = ("T:", "E:", "A:", "B:", "D:", "P:", "S:", "C:", "I:")
_STRINGS = {"Manufacturer": "manufacturer", "Product": "product", "SerialNumber": "serial"}


class _Above(NamedTuple):
    """A device that others may hang on: its level, its name, and the numbers of what was listed since, its own too."""

    level: int
    name: str | None
    since: set[int]


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One device per block; and that these are all, where nothing chose among them."""
    device: dict[str, Any] = {}
    numbers: list[int] = []
    above: dict[int, list[_Above]] = {}
    listed: list[int] = []  # lines of all devices since the command; empty when it is not known
    asked = False
    for line in lines:
        text = line.text.strip()
        if found := _TOPOLOGY.search(text[:200]):
            yield from _done(device, numbers)
            device, numbers = _topology(found, above), [line.number]
            listed.append(line.number)
        elif line.prompt is not None:
            yield from _done(device, numbers)
            yield from _whole(listed, asked, above)
            device, numbers, listed, above = {}, [], [], {}
            asked = _ASKED.match(line.prompt.strip()) is not None
        elif left_out(text):
            asked = False
        elif device and _add(device, text):
            numbers.append(line.number)
        elif device and text and text[:2] not in _LETTERS and not _NOISE.match(text):
            yield from _done(device, numbers)
            device, numbers = {}, []
    yield from _done(device, numbers)
    yield from _whole(listed, asked, above)


def _whole(listed: list[int], asked: bool, above: dict[int, list[_Above]]) -> Iterator[Piece]:
    if asked and listed and all(chain and chain[0].level == 0 for chain in above.values()):
        yield Piece("whole", tuple(listed), "usb")


def _done(device: dict[str, Any], numbers: list[int]) -> Iterator[Piece]:
    """A device; its interfaces only when as many were read as its configuration says that it has."""
    count = device.pop("count", None)
    if count is None or len(device.get("interfaces", [])) != count:
        device.pop("interfaces", None)
    if count == 0:
        device["interfaces"] = []
    if "interfaces" in device:
        device["all_interfaces"] = True
    if count is not None and "vid" in device:
        for name in _STRINGS.values():  # they stand between the two lines that were read
            device.setdefault(name, None)
    if device:
        yield Piece("device", tuple(numbers), device)


def _topology(match: re.Match[str], above: dict[int, list[_Above]]) -> dict[str, Any]:
    """Bus, number, speed, and the port path where the hub above was listed; `Port` counts from 0.

    The hub is the last device listed one level higher: the script prints the number of a
    neighbour as `Prnt` when that came before (usbutils 014 and 018).
    """
    bus, number, level, port = int(match["bus"]), int(match["dev"]), int(match["level"]), int(match["port"]) + 1
    device: dict[str, Any] = {"bus": bus, "devnum": number}
    if match["speed"].count(".") < 2 and match["speed"] != ".":
        device["speed"] = float(match["speed"])
    chain = [one for one in above.get(bus, []) if one.level < level]
    hub = chain[-1] if chain and chain[-1].level == level - 1 else None
    if level == 0:
        device |= {"name": f"usb{bus}", "parent": None, "path": "0"}
    elif level == 1:
        device |= {"name": f"{bus}-{port}", "parent": f"usb{bus}", "path": str(port)}
    elif hub is not None and hub.name is not None and int(match["parent"]) in hub.since:
        device |= {"name": f"{hub.name}.{port}", "parent": hub.name}
        device["path"] = device["name"].partition("-")[2]
    for one in chain:
        one.since.add(number)
    above[bus] = [*chain, _Above(level, device.get("name"), {number})]
    return device


def _add(device: dict[str, Any], text: str) -> bool:
    if match := _IDS.match(text):
        device.update(vid=match["vid"].lower(), pid=match["pid"].lower())
    elif match := _CLASS.match(text):
        device.update(version=match["ver"], device_class=int(match["class"], 16))
    elif match := _STRING.match(text):
        device[_STRINGS[match["which"]]] = match["value"].strip()
    elif match := _CONFIGURATION.match(text):
        if match["active"] == "*" or "configuration" not in device:
            # The script prints 0 for what the kernel leaves empty: the device has no configuration.
            device["count"], device["configuration"] = int(match["count"]), int(match["number"]) or None
            device["max_power_ma"] = int(match["power"]) if match["power"] else None
            if match["atr"]:
                device["self_powered"] = bool(int(match["atr"], 16) & 0x40)  # bmAttributes, USB 2.0 table 9-10
    elif match := _INTERFACE.match(text):
        if match["alt"] == "0" and device.get("count") != 0:  # the script prints one even where there is none
            number = int(match["number"].lower().removeprefix("0x"), 16)
            entry: dict[str, Any] = {
                "number": number,
                "class_": int(match["class"], 16),
                "subclass": int(match["sub"], 16),
                "protocol": int(match["prot"], 16),
                "endpoints": int(match["eps"]),
                "driver": None if match["driver"] == "(none)" else match["driver"],
            }
            if "name" in device:
                root = device["name"].startswith("usb")
                place = f"{device['bus']}-0" if root else device["name"]
                entry["name"] = f"{place}:{device.get('configuration') or 1}.{number}"
            device.setdefault("interfaces", []).append(entry)
    else:
        return False
    return True
