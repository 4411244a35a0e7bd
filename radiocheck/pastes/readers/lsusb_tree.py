"""`lsusb -t`: the tree of ports, with class, driver and speed of each interface (usbutils, lsusb-t.c).

Until usbutils 015 a root line reads `/:  Bus 01.Port 1: Dev 1, Class=root_hub, Driver=xhci_hcd/12p, 480M`, from 016 on
`/:  Bus 001.Port 001: Dev 001, Class=root_hub, Driver=xhci_hcd/12p, 480M`; with -v lines of IDs and paths follow.
A device without interfaces has no line until 015, and later one without class and driver.
So a tree is no complete list of devices.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lsusb -t"

_ROOT = re.compile(
    r"^(?P<indent>[^/]{0,60})/:\s{1,4}Bus 0*(?P<bus>\d{1,3})\.Port 0*\d{1,3}: Dev 0*(?P<dev>\d{1,3}), "
    r"(?P<rest>Class=.*)"
)
_PORT = re.compile(
    r"^(?P<indent>[^_]{0,80}?)\|_{1,3} ?Port 0*(?P<port>\d{1,3}): Dev 0*(?P<dev>\d{1,3}), "
    r"(?:If 0*(?P<interface>\d{1,3})\b,? ?)?(?P<rest>.*)"
)
_REST = re.compile(
    r"(?:Class=(?P<class>[^,]{0,60}), )?Driver=(?P<driver>[^,]{0,60}?)(?:/(?P<ports>\d{1,3})p)?, "
    r"(?P<speed>[\d.]{1,8})M\b"
)
_BARE = re.compile(r"(?P<speed>[\d.]{1,8})M\s*$")
_IDS = re.compile(r"^[ |]*ID (?P<vid>[0-9a-f]{4}):(?P<pid>[0-9a-f]{4})\b", re.IGNORECASE)
_PATHS = re.compile(r"/sys/bus/usb/devices/(?P<name>[\d.usb-]{3,24})\s+/dev/bus/usb/\d{3}/\d{3}")
_INDENT = 4

# lsusb-t.c takes the words of usb.ids for classes; those that matter here.
_CLASSES = {
    "hub": 0x09,
    "root_hub": 0x09,
    "communications": 0x02,
    "cdc data": 0x0A,
    "vendor specific class": 0xFF,
    "vendor specific": 0xFF,
    "human interface device": 0x03,
    "mass storage": 0x08,
    "audio": 0x01,
    "video": 0x0E,
    "wireless": 0xE0,
    "printer": 0x07,
    "chip/smartcard": 0x0B,
    "imaging": 0x06,
    "application specific interface": 0xFE,
    # of usbutils before 007, from memory
    "hid": 0x03,
    "stor.": 0x08,
    "vend.": 0xFF,
    "comm.": 0x02,
    "data": 0x0A,
    "app.": 0xFE,
}


class _Tree:
    """The devices so far, and where the next one hangs."""

    def __init__(self) -> None:
        self.devices: dict[tuple[int, int], dict[str, Any]] = {}
        self.numbers: dict[tuple[int, int], list[int]] = {}
        self.cut: set[tuple[int, int]] = set()
        self.bus: int | None = None
        self.margin = 0  # what stands before a root line: marks of quotation, line numbers
        self.above: dict[int, str] = {}  # depth → path of ports
        self.last: tuple[int, int] | None = None

    def add(self, line: Line, number: int, values: dict[str, Any]) -> dict[str, Any]:
        """Note a device of the current bus; an interface more of it has the same number."""
        assert self.bus is not None
        self.last = (self.bus, number)
        device = self.devices.setdefault(self.last, {"bus": self.bus, "devnum": number})
        device.update(values)
        self.numbers.setdefault(self.last, []).append(line.number)
        return device


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each device with its port path, and the driver of each of its interfaces."""
    tree = _Tree()
    for line in lines:
        if line.prompt is not None:
            yield from _done(tree)
            tree = _Tree()
        elif root := _ROOT.match(line.text):
            if (int(root["bus"]), int(root["dev"])) in tree.devices:  # the same again: another moment
                yield from _done(tree)
                tree = _Tree()
            tree.bus, tree.above, tree.margin = int(root["bus"]), {}, len(root["indent"])
            name = {"name": f"usb{tree.bus}", "device_class": 9, "path": "0", "parent": None}
            _rest(tree, tree.add(line, int(root["dev"]), name), root["rest"], None)
        elif (port := _PORT.match(line.text)) and tree.bus is not None:
            place = _place(tree, len(port["indent"]), int(port["port"]))
            number = int(port["interface"]) if port["interface"] is not None else None
            _rest(tree, tree.add(line, int(port["dev"]), place), port["rest"], number)
        elif tree.last is not None and line.text.strip():
            _more(tree, line)
    yield from _done(tree)


def _more(tree: _Tree, line: Line) -> None:
    """Lines of IDs and paths behind a device (-v)."""
    if tree.last is None:
        return
    if ids := _IDS.match(line.text):
        tree.devices[tree.last].update(vid=ids["vid"].lower(), pid=ids["pid"].lower())
        tree.numbers[tree.last].append(line.number)
    elif paths := _PATHS.search(line.text):
        tree.devices[tree.last]["name"] = paths["name"]
        tree.numbers[tree.last].append(line.number)
    else:
        tree.last = None


def _place(tree: _Tree, indent: int, port: int) -> dict[str, Any]:
    """Name and path of what hangs at a port; nothing where the indentation, which says at which hub, was lost."""
    depth = (indent - tree.margin) // _INDENT
    if depth <= 0:
        tree.above = {}
        return {}
    if depth > 1 and depth - 1 not in tree.above:
        return {}
    path = str(port) if depth == 1 else f"{tree.above[depth - 1]}.{port}"
    tree.above = {level: value for level, value in tree.above.items() if level < depth} | {depth: path}
    hub = f"{tree.bus}-{path.rpartition('.')[0]}" if "." in path else f"usb{tree.bus}"
    return {"name": f"{tree.bus}-{path}", "path": path, "parent": hub}


def _rest(tree: _Tree, device: dict[str, Any], text: str, interface: int | None) -> None:
    """Class, driver and speed at the end of a line; a line that was cut off gives none of them."""
    match = _REST.match(text.strip())
    if match is None:
        bare = _BARE.match(text.strip()) if interface is None else None
        if bare is not None and len(bare["speed"]) < 7:
            device["speed"] = float(bare["speed"]) if bare["speed"].count(".") < 2 else 0.0
            device["interfaces"] = []
        elif tree.last is not None:
            tree.cut.add(tree.last)
        return
    if match["speed"].count(".") < 2 and match["speed"] != ".":
        device["speed"] = float(match["speed"])
    driver = match["driver"].strip()
    if match["ports"]:
        device["ports"], device["device_class"] = int(match["ports"]), 9
    if interface is None:
        return
    entry: dict[str, Any] = {"number": interface, "driver": None if driver in ("", "[none]", "(none)") else driver}
    class_ = _CLASSES.get((match["class"] or "").strip().lower())
    if class_ is not None:
        entry["class_"] = class_
    device.setdefault("interfaces", []).append(entry)


def _done(tree: _Tree) -> Iterator[Piece]:
    """The devices of one tree; where a line of one was cut off, its interfaces are not all known."""
    for key, device in tree.devices.items():
        if key in tree.cut:
            device.pop("interfaces", None)
        if "interfaces" in device:
            device["all_interfaces"] = True
        for entry in device.get("interfaces", []):
            if "name" in device:
                entry["name"] = f"{device['name']}:1.{entry['number']}"  # configuration 1, as almost every device has
        yield Piece("device", tuple(tree.numbers[key]), device)
