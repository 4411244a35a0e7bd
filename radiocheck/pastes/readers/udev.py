"""`udevadm info`: the database (`P:`, `N:`, `S:`, `E:` lines, or plain properties) and the walk with `ATTRS{…}==`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.evidence.serial import Link
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "udevadm info"

_LETTER = re.compile(r"^\s{0,4}(?P<letter>[PNSEMLIARUTDQVBC]): ?(?P<value>.{0,1000})$")
_PROPERTY = re.compile(r"^(?P<key>[A-Z][A-Z0-9_]{2,50})=(?P<value>.{0,1000})$")
_DEVICE = re.compile(r"/(?P<device>\d{1,3}-\d{1,2}(?:\.\d{1,2}){0,6})(?:/(?P<interface>(?P=device):\d{1,2}\.\d{1,3}))?")
_TTY = re.compile(r"tty(?:USB|ACM)\d{1,4}")
_LOOKING = re.compile(r"looking at (?P<parent>parent )?device '(?P<path>[^']{1,500})'")
_ATTRIBUTE = re.compile(
    r"^\s*(?P<key>KERNELS?|DRIVERS?|SUBSYSTEMS?|ATTRS?\{(?P<name>[\w/]{1,60})\})=="
    r'"(?P<value>[^"]{0,400})"'
)
_ATTRIBUTES = {
    "idVendor": "vid",
    "idProduct": "pid",
    "bcdDevice": "bcd",
    "serial": "serial",
    "product": "product",
    "manufacturer": "manufacturer",
    "bConfigurationValue": "configuration",
    "authorized": "authorized",
    "busnum": "bus",
    "devnum": "devnum",
    "devpath": "path",
    "speed": "speed",
    "maxchild": "ports",
    "urbnum": "urbs",
    "removable": "removable",
    "version": "version",
    "power/control": "power_control",
    "power/runtime_status": "runtime_status",
}
_NUMBERS = {"bus", "devnum", "configuration", "ports", "urbs"}
_STRINGS = ("serial", "product", "manufacturer")
_ASKED = re.compile(
    r"^udevadm info\b[^|]{0,120}?(?: -n ?| --name[= ]| )['\"]?(?:/dev/)?(?P<tty>tty(?:USB|ACM)\d{1,4})['\"]?"
    r"(?: -\S{1,30}(?: [a-z]{1,12})?){0,4}\s{0,4}(?:\||$)"
)
_SOCKET = re.compile(
    r"(?P<place>(?:pci|platform)-[\w.:-]{1,80}-usb(?:v\d)?-\d:[\d.]{1,20}:\d{1,2}\.\d{1,3})(?:-port\d{1,3})? -> "
    r"\S{0,20}/(?P<tty>tty(?:USB|ACM)\d{1,4})$"
)
_USB_DRIVER = re.compile(r"^(?:usb|usb_device)$")  # of devices, not of their interfaces


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Ttys with their properties, links, and the devices behind them."""
    yield from _database(lines)
    yield from _numbered(lines)
    yield from _walk(lines)


def _database(lines: Sequence[Line]) -> Iterator[Piece]:
    block: list[tuple[Line, str, str]] = []
    asked: str | None = None  # the tty that the command names
    for line in lines:
        match = None
        if line.prompt is None:
            match = _LETTER.match(line.text)
        if match is not None and (match["letter"] != "P" or not block):
            block.append((line, match["letter"], match["value"].strip()))
            continue
        if match is None and line.prompt is None and (plain := _PROPERTY.match(line.text.strip())):
            # -q property prints no letters; so do uevent files and `udevadm monitor --property`
            block.append((line, "e", plain[0]))
            continue
        yield from _entry(block, asked)
        block = [(line, "P", match["value"].strip())] if match else []
        if line.prompt is not None:
            about = _ASKED.match(line.prompt[:400])
            asked = about["tty"] if about else None
        elif not line.text.strip():
            asked = None
    yield from _entry(block, asked)


def _entry(block: list[tuple[Line, str, str]], asked: str | None) -> Iterator[Piece]:
    if not block or (len(block) < 2 and asked is None):
        return
    numbers = tuple(line.number for line, _, _ in block)
    path = next((value for _, letter, value in block if letter == "P"), "")
    values = dict(value.partition("=")[::2] for _, letter, value in block if letter in "Ee" and "=" in value)
    if "ACTION" in values:
        return  # an event of `udevadm monitor`, which may be past
    if not path and "DEVPATH" not in values:
        if asked is not None and "ACTION" not in values:
            yield from _some(asked, values, numbers)
        return  # a part of an entry, or a uevent file: what it lacks says nothing
    name = next((value for _, letter, value in block if letter == "N"), values.get("DEVNAME", "").removeprefix("/dev/"))
    places = list(_DEVICE.finditer((path or values.get("DEVPATH", ""))[:500]))
    place = places[-1] if places else None
    if _TTY.fullmatch(name):
        tty: dict[str, Any] = {"name": name}
        if "SUBSYSTEM" in values or "USEC_INITIALIZED" in values:
            tty["udev"] = values
        if place is not None and place["interface"]:
            tty["interface"] = place["interface"]
        yield Piece("tty", numbers, tty)
        yield from _links(block, values, name)
    if place is not None:
        of_device = values.get("DEVTYPE", "usb_device") == "usb_device" or "interface" not in values.get("DEVTYPE", "")
        yield Piece("device", numbers, _device(place["device"], values, of_device))


def _some(tty: str, values: dict[str, str], numbers: tuple[int, ...]) -> Iterator[Piece]:
    """A part of what was asked of a tty, picked out with grep: what it lacks says nothing."""
    if values.get("DEVNAME", f"/dev/{tty}") != f"/dev/{tty}":
        return
    found: dict[str, Any] = {"name": tty}
    if serial := values.get("ID_SERIAL") or values.get("ID_USB_SERIAL"):
        found["id_serial"] = serial
    if values:
        yield Piece("tty", numbers, found)
    ids = [values.get(key, "") for key in ("ID_VENDOR_ID", "ID_MODEL_ID")]
    if all(re.fullmatch(r"[0-9a-f]{4}", one) for one in ids):
        number = re.fullmatch(r"[0-9a-f]{2}", values.get("ID_USB_INTERFACE_NUM", ""))
        interface = {"number": int(number[0], 16) if number else 0, "ttys": [tty]}
        device: dict[str, Any] = {"vid": ids[0], "pid": ids[1], "interfaces": [interface]}
        if values.get("ID_SERIAL_SHORT"):
            device["serial"] = values["ID_SERIAL_SHORT"]
        yield Piece("device", numbers, device)


def _numbered(lines: Sequence[Line]) -> Iterator[Piece]:
    """`ID_PATH` and `ID_SERIAL_SHORT` of several ttys, picked out in a loop that does not say which is which.

    The socket's link under /dev/serial/by-path, in the same paste, does (rules.d/60-serial.rules).
    """
    ttys = {match["place"]: match["tty"] for line in lines if (match := _SOCKET.search(line.text[:400]))}
    place: tuple[str, int] | None = None
    for line in lines if ttys else ():
        match = _PROPERTY.match(line.text.strip()[:400])
        if match is None or line.prompt is not None:
            place = None
        elif match["key"] == "ID_PATH":
            place = match["value"], line.number
        elif match["key"] == "ID_SERIAL_SHORT" and place is not None and place[0] in ttys:
            yield Piece("tty", (place[1], line.number), {"name": ttys[place[0]], "serial_short": match["value"]})
            place = None


def _links(block: list[tuple[Line, str, str]], values: dict[str, str], name: str) -> Iterator[Piece]:
    """Names under /dev/serial: of `S:` lines, else of DEVLINKS."""
    told = {f"/dev/{value}": line.number for line, letter, value in block if letter == "S"}
    for line, _, value in block:
        if value.startswith("DEVLINKS="):
            for link in value.removeprefix("DEVLINKS=").split():
                told.setdefault(link, line.number)
    for link, number in told.items():
        if link.startswith("/dev/serial/by-"):
            yield Piece("link", (number,), Link(path=link, target=name))


def _device(name: str, values: dict[str, str], of_device: bool) -> dict[str, Any]:
    device: dict[str, Any] = {"name": name}
    for keys, field in ((("ID_USB_VENDOR_ID", "ID_VENDOR_ID"), "vid"), (("ID_USB_MODEL_ID", "ID_MODEL_ID"), "pid")):
        for key in keys:
            if re.fullmatch(r"[0-9a-f]{4}", values.get(key, "")):
                device.setdefault(field, values[key])
    if re.fullmatch(r"[0-9a-f]{4}", values.get("ID_REVISION", "")):
        device["bcd"] = values["ID_REVISION"]
    if values.get("ID_USB_SERIAL_SHORT") or values.get("ID_SERIAL_SHORT"):
        device["serial"] = values.get("ID_USB_SERIAL_SHORT") or values["ID_SERIAL_SHORT"]
    if of_device:
        for key, field in (("BUSNUM", "bus"), ("DEVNUM", "devnum")):
            if values.get(key, "").isdecimal():
                device[field] = int(values[key])
    driver, interface = values.get("ID_USB_DRIVER"), values.get("ID_USB_INTERFACE_NUM")
    if driver and interface and re.fullmatch(r"[0-9a-f]{1,2}", interface):
        number = int(interface, 16)
        device["interfaces"] = [{"name": f"{name}:1.{number}", "number": number, "driver": driver}]
    return device


def _walk(lines: Sequence[Line]) -> Iterator[Piece]:
    level: dict[str, str] = {}
    numbers: list[int] = []
    path: str | None = None
    tty: str | None = None
    for line in lines:
        if line.prompt is None and (match := _LOOKING.search(line.text[:600])):
            yield from _level(path, level, numbers, tty)
            if not match["parent"]:
                last = match["path"].rpartition("/")[2]
                tty = last if _TTY.fullmatch(last) else None
            path, level, numbers = match["path"], {}, [line.number]
        elif path is not None and (match := _ATTRIBUTE.match(line.text)):
            level[match["name"] or match["key"].removesuffix("S")] = match["value"]
            numbers.append(line.number)
        elif path is not None and line.prompt is not None:
            yield from _level(path, level, numbers, tty)
            path, level = None, {}
    yield from _level(path, level, numbers, tty)


def _level(path: str | None, level: dict[str, str], numbers: list[int], tty: str | None) -> Iterator[Piece]:
    """One level of the walk: a device, or an interface with its driver and, at the bottom, its tty."""
    place = path.rpartition("/")[2] if path is not None else ""
    if re.fullmatch(r"\d{1,3}-[\d.]{1,20}:\d{1,2}\.\d{1,3}", place):
        device, _, rest = place.partition(":")
        if "DRIVER" in level:
            entry: dict[str, Any] = {"name": place, "number": int(rest.rpartition(".")[2])}
            entry["driver"] = level["DRIVER"] or None
            yield Piece("device", tuple(numbers), {"name": device, "interfaces": [entry]})
        if tty is not None:
            yield Piece("tty", tuple(numbers), {"name": tty, "interface": place})
    elif re.fullmatch(r"\d{1,3}-[\d.]{1,20}|usb\d{1,3}", place) and (found := _attributes(level)):
        yield Piece("device", tuple(numbers), {"name": place, **found})


def _attributes(level: dict[str, str]) -> dict[str, Any]:
    """Attributes of a device.  Those that the walk prints are all that sysfs has: a missing serial means none."""
    device: dict[str, Any] = {}
    for name, field in _ATTRIBUTES.items():
        if name not in level:
            continue
        value = level[name].strip()
        if field in _NUMBERS:
            if value.isdecimal():
                device[field] = int(value)
            elif field == "configuration":
                device[field] = None
        elif field == "speed":
            if re.fullmatch(r"\d{1,6}(?:\.\d)?", value):
                device[field] = float(value)
        elif field == "authorized":
            device[field] = value == "1"
        else:
            device[field] = value
    if {"vid", "pid", "bus", "path"} <= set(device):
        for field in _STRINGS:
            device.setdefault(field, None)
    return device
