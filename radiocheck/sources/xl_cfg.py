"""xl's domain configuration files, read for what they hand to the guest.  Pure: no file is read here.

Options after xl.cfg(5) and xl-pci-configuration(5) of Xen 4.17; the syntax that these leave
open after xl's own reader (tools/libs/util/libxlu_cfg_l.l, libxlu_cfg_y.y, libxlu_cfg.c) and
the meaning after tools/xl/xl_parse.c.  A file that xl would refuse or half read is refused.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from msgspec import UNSET

from radiocheck.evidence.vm import GivenVm, HostdevUsb, PciArg

from .qemu_args import Arguments, parse, pci_address, read_number
from .quoting import shown

XL_LIMIT = 1 << 20  # characters; a real file has some kilobytes
DEPTH = 20  # of lists within lists; no option takes more than two

Value = str | list["Value"]  # a number is kept as it is written

_TOKEN = r"""
      (?P<blank>   [ \t]++ )
    | (?P<newline> \n | \#[^\n]*+(?:\n|\Z) )
    | (?P<name>    [a-z][._0-9a-z]*+ )
    | (?P<atom>    [0-9][0-9a-fx]*+ | '(?:[^'\\\n]|\\.)*+' | "(?:[^"\\\n]|\\.)*+" )
    | (?P<mark>    \+= | [=,;\[\]] )
    """
_ESCAPED = {**{mark: mark for mark in "\"'\\"}, **dict(zip("abfnrtv", "\a\b\f\n\r\t\v", strict=True))}
_TELLING = frozenset(
    "name usbdev pci usbdevice serial device_model_args device_model_args_hvm device_model_args_pv".split()
)


def read(text: str, origin: str) -> GivenVm:
    """The VM that a file describes.  Raises `ValueError` with what is wrong, without the file's name."""
    found = settings(text)
    hvm = "hvm" in (found.get("type"), found.get("builder"))
    model = _device_model(found, hvm)
    usb = [_usbdev(entry) for entry in _strings(found, "usbdev")]
    controllers = _strings(found, "usbctrl")
    if not found.keys() & _TELLING:
        raise ValueError("has neither a name nor a line that hands over a device")
    return GivenVm(
        name=_one(found, "name"),
        manager="xen",
        origin=origin,
        arguments=model.usb,
        hostdevs=usb,
        pci=[PciArg(address=each) for entry in _strings(found, "pci") for each in _pci(entry)] + model.pci,
        ttys=model.ttys,
        # A usbdev without a controller makes one (xl.cfg(5), controller=).
        usb_bus=bool(usb or controllers or model.usb_bus) or (False if "name" in found else UNSET),
        autostart=UNSET,
    )


def settings(text: str) -> dict[str, Value]:
    """All options of a file.  Raises `ValueError` with the line where xl would stop."""
    if len(text) > XL_LIMIT:
        raise ValueError(f"is larger than {XL_LIMIT >> 20} MB, which no configuration of xl is")
    text = text.replace("\r\n", "\n")
    return _Reader(text).settings()


@cache
def _token() -> re.Pattern[str]:
    """Compiled when it is first needed: a check loads every module of this package, and few hosts run Xen."""
    return re.compile(_TOKEN, re.VERBOSE)


class _Reader:
    """The grammar of libxlu_cfg_y.y, one token ahead."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.pattern = _token()
        self.start = self.at = 0  # of the token ahead
        self.kind = self.token = ""
        self.step()

    def step(self) -> None:
        """Go to the next token; `end` after the last."""
        while True:
            self.start = self.at
            if self.at >= len(self.text):
                self.kind, self.token = "end", ""
                return
            match = self.pattern.match(self.text, self.at)
            if match is None:
                raise self.wrong()
            self.at = match.end()
            if match.lastgroup != "blank":
                self.kind, self.token = match.lastgroup or "", match.group()
                return

    def wrong(self) -> ValueError:
        line = self.text.count("\n", 0, self.start) + 1
        near = self.text[self.start : self.start + 30].split("\n")[0]
        return ValueError(f"line {line}: xl does not understand {shown(near) if near else 'the end of the line'}")

    def take(self, *tokens: str) -> str:
        """The token ahead, which must be one of these."""
        token = self.token
        if self.kind != "mark" or token not in tokens:
            raise self.wrong()
        self.step()
        return token

    def settings(self) -> dict[str, Value]:
        found: dict[str, Value] = {}
        while self.kind != "end":
            if self.kind == "newline" or (self.kind, self.token) == ("mark", ";"):
                self.step()
                continue
            if self.kind != "name":
                raise self.wrong()
            name = self.token
            self.step()
            adds = self.take("=", "+=") == "+="
            value = self.value(0)
            if self.kind not in ("newline", "end") and (self.kind, self.token) != ("mark", ";"):
                raise self.wrong()
            found[name] = self.together(found[name], value) if adds and name in found else value
        return found

    def together(self, before: Value, value: Value) -> Value:
        if isinstance(before, str) and isinstance(value, str):
            return before + value
        if isinstance(before, list) and isinstance(value, list):
            return before + value
        raise self.wrong()

    def value(self, depth: int) -> Value:
        if self.kind == "atom":
            atom = self.token if self.token[0].isdigit() else re.sub(r"\\(.)", self.escaped, self.token[1:-1])
            self.step()
            return atom
        self.take("[")
        if depth >= DEPTH:
            raise ValueError("has lists nested too deeply")
        items: list[Value] = []
        self.lines()
        while self.token != "]":
            items.append(self.value(depth + 1))
            self.lines()
            if self.token != "]":
                self.take(",")
                self.lines()
        self.take("]")
        return items

    def lines(self) -> None:
        while self.kind == "newline":
            self.step()

    def escaped(self, match: re.Match[str]) -> str:
        if match[1] not in _ESCAPED:  # the numeric ones too: xl reads them, and loses the character
            raise self.wrong()
        return _ESCAPED[match[1]]


def _one(found: Mapping[str, Value], name: str) -> str | None:
    value = found.get(name)
    if isinstance(value, list):
        raise ValueError(f"`{name}` is a list; xl wants one value there")
    return value or None


def _strings(found: Mapping[str, Value], name: str) -> list[str]:
    """A list of strings.  xl passes over a single value with a warning, and stops at a list within the list."""
    value = found.get(name, [])
    if isinstance(value, str):
        raise ValueError(f"`{name}` is a single value, which xl passes over; write a list, {name} = ['…']")
    strings = [item for item in value if isinstance(item, str)]
    if len(strings) < len(value):
        raise ValueError(f"`{name}` has a list within the list, where xl stops reading")
    return strings


def _either(found: Mapping[str, Value], name: str) -> list[str]:
    """A list of strings, or one string for the same."""
    value = found.get(name)
    return [value] if isinstance(value, str) else _strings(found, name)


def _usbdev(entry: str) -> HostdevUsb:
    """`hostbus=1,hostaddr=5`; xl_parse.c, parse_usbdev_config, takes blanks before a word only."""
    values: dict[str, str] = {}
    for part in entry.split(","):
        key, equals, value = part.lstrip(" ").partition("=")
        if not part:
            continue
        if not equals or key not in ("type", "hostbus", "hostaddr", "controller", "port"):
            raise ValueError(
                f"usbdev {shown(entry)}: xl does not know {shown(part)}; it knows type=hostdev, hostbus=, hostaddr=, "
                "controller= and port="
            )
        values[key] = value
    if values.get("type", "hostdev").lower() != "hostdev":
        raise ValueError(f"usbdev {shown(entry)}: xl knows no type but hostdev")
    bus, address = read_number(values.get("hostbus", "").strip()), read_number(values.get("hostaddr", "").strip())
    if bus is None or address is None:  # libxl_usb.c, usbdev_busaddr_to_busid
        raise ValueError(f"usbdev {shown(entry)}: xl needs both hostbus= and hostaddr=, numbers above 0")
    return HostdevUsb(bus=bus, address=address)


def _pci(entry: str) -> list[str]:
    """A PCI_SPEC_STRING: the function, or all eight that a slot can have for `*`."""
    place = ""
    for position, part in enumerate(entry.split(",")):
        key, equals, value = part.partition("=")
        if position == 0 and not equals:
            place = part.partition("@")[0]
        elif key == "bdf":
            place = value
        elif key == "name":
            raise ValueError(f"pci {shown(entry)}: only xl on that host knows the name; write the address, as 00:14.0")
    functions = range(8) if place.endswith(".*") else [None]
    found = [pci_address(place if number is None else f"{place[:-1]}{number}") for number in functions]
    addresses = [address for address in found if address]
    if not addresses:
        raise ValueError(f"pci {shown(entry)}: is no PCI address; write it as 00:14.0 or 0000:00:14.0")
    return addresses


def _device_model(found: Mapping[str, Value], hvm: bool) -> Arguments:
    """What QEMU is told by the options that become its command line (tools/libs/light/libxl_dm.c).

    serial=, usb=, usbversion= and usbdevice= count for guests of type hvm only (xl_parse.c).
    """
    words: list[str] = []
    if hvm:
        for path in _either(found, "serial"):
            words += ["-serial", path]
        for device in _either(found, "usbdevice"):
            words += ["-usbdevice", device]
        if any((read_number(_one(found, name)) or 0) > 0 for name in ("usb", "usbversion")):
            words.append("-usb")
    words += _strings(found, "device_model_args")
    words += _strings(found, f"device_model_args_{'hvm' if hvm else 'pv'}")
    told = parse(words)
    if told.elsewhere:
        file = shown(told.elsewhere[0])
        raise ValueError(f"device_model_args takes more devices from the file {file}; write them into the list")
    return told
