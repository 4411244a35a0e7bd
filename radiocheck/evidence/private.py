"""What in evidence points at a person or a household: the fields made for it, and its forms in free text."""

from __future__ import annotations

import re
from collections.abc import Iterator

from msgspec import Struct

from .ordinary import SYSTEM_NAMES

# Kinds in the order in which they claim a word that stands for several things (an account and its group, say).
KINDS = ("serial", "user", "vm", "group", "host", "wifi", "uuid", "mac", "address", "mail", "id", "path")

# (record, field) → what the whole value is.
FIELDS: dict[tuple[str, str], str] = {
    ("UsbDevice", "serial"): "serial",
    ("UdevRule", "serial"): "serial",
    ("User", "name"): "user",
    ("Handle", "user"): "user",
    ("QemuProcess", "user"): "user",
    ("Node", "owner"): "user",
    ("Node", "group"): "group",
    ("QemuProcess", "name"): "vm",
    ("Domain", "name"): "vm",
    ("GivenVm", "name"): "vm",
    ("Monitor", "name"): "vm",
    ("VmMessage", "vm"): "vm",
    ("Host", "uuid"): "uuid",
    ("QemuProcess", "uuid"): "uuid",
    ("Domain", "uuid"): "uuid",
    ("Monitor", "uuid"): "uuid",
    ("WifiNetwork", "ssid"): "wifi",
    ("WifiNetwork", "bssid"): "mac",
}
# Keys of dictionaries: udev's properties, the named parts of messages.
KEYS: dict[tuple[str, str, str], str] = {
    ("Tty", "udev", "ID_SERIAL_SHORT"): "serial",
    ("Tty", "udev", "ID_USB_SERIAL_SHORT"): "serial",
    ("VmMessage", "data", "domain"): "vm",
    ("VmMessage", "data", "uuid"): "uuid",
}
# Fields whose whole value is a path, which may hold blanks.
PATHS = frozenset(
    {
        ("Node", "path"),
        ("Link", "path"),
        ("Handle", "path"),
        ("TtyArg", "path"),
        ("UsbHostArg", "node"),
        ("AppMessage", "path"),
        ("UdevRule", "path"),
        ("Monitor", "socket"),
        ("GivenVm", "origin"),
    }
)
# Versions look like addresses of the internet.
VERSIONS = frozenset({("Host", "kernel"), ("Taken", "tool"), ("Monitor", "version"), ("Evidence", "libvirt_version")})

# A root hub's serial number is the address of its controller: the kernel's own (drivers/usb/core/hcd.c).
CONTROLLER = re.compile(
    r"[0-9a-f]{4}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]|[a-z0-9_-]{0,20}(?:hci|hcd)[a-z0-9_-]{0,12}\.\d{1,3}(?:\.auto)?"
    r"|[0-9a-f]{6,16}\.(?:usb[a-z0-9]{0,6}|dwc3|xhci)|[a-z]{2,8}_hdrc\.\d{1,3}"
)

# Free text that says what its next word is.  Each has one group.
_NAME = r"[^\s'\",;:)\]<>/\\]{1,64}"
TELLING: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (kind, re.compile(pattern))
    for kind, pattern in (
        ("serial", r"SerialNumber: (\S[^\r\n]{0,999})"),
        ("serial", r"\biSerial {1,30}\d{1,3} (\S[^\r\n]{0,999})"),
        ("serial", r"\bID_(?:USB_)?SERIAL_SHORT=(\S{1,126})"),
        ("serial", r"(?:\{serial\}==|\bserial=)[\"']?([^\s\"',]{1,126})"),
        # The last part of udev's name, when it looks like a number that a factory gave and not like a word
        (
            "serial",
            r"/by-id/usb-[^/\s]{1,200}_(?![^_/\s]{0,80}(?i:usb|uart|serial|bridge|rs232))"
            r"(?=[^_/\s]{0,80}\d)([0-9A-Za-z.:=+-]{5,80}?)-if[0-9a-f]{2}",
        ),
        ("user", rf"(?:/home|/Users)/({_NAME})"),
        ("user", rf"\b[ug]id=\d{{1,10}}\(({_NAME})\)"),
        ("user", r"(?:^|\s)([a-z_][\w.-]{0,31})@[A-Za-z0-9][\w.-]{0,62}:[^\s@]{0,80}[$#%](?:\s|$)"),
        ("host", r"(?:^|\s)[a-z_][\w.-]{0,31}@([A-Za-z0-9][\w.-]{0,62}):[^\s@]{0,80}[$#%](?:\s|$)"),
        ("host", r"^[A-Z][a-z]{2} [ \d]\d \d\d:\d\d:\d\d ([A-Za-z0-9][\w.-]{0,62}) [\w./@-]{1,60}(?:\[\d{1,8}\])?:"),
        ("host", r"\bhostname[:=] {0,2}[\"']?([A-Za-z0-9][\w.-]{0,62})"),
        ("wifi", r"\b[BE]?SSID[:=] {0,2}[\"']([^\"'\r\n]{1,32})[\"']"),
        ("vm", r"\b(?:[Dd]omain|VM|[Gg]uest|matching name) '([^'\r\n]{1,64})'"),
        ("vm", r"\bguest=([^,\s]{1,64})"),
    )
)

# Words that have a form of their own, wherever they stand.
_BEFORE = r"(?:(?<![0-9A-Za-z])|(?<=\\x[0-9A-Fa-f]{2}))"  # or behind a sign that systemd or udev escaped
_AFTER = r"(?![0-9A-Za-z])"
_HEX = "[0-9A-Fa-f]"
_OCTET = r"(?:25[0-5]|2[0-4]\d|1?\d?\d)"
FORMS: tuple[tuple[str, str], ...] = (
    (
        "mail",  # not serial-getty@ttyUSB0.service
        r"[A-Za-z0-9][\w.+-]{0,63}@[A-Za-z0-9][A-Za-z0-9-]{0,62}(?:\.[A-Za-z0-9-]{1,63}){0,4}"
        r"\.(?!(?:service|socket|scope|slice|mount|target|timer|path|device)\b)[A-Za-z]{2,24}" + _AFTER,
    ),
    ("uuid", rf"{_BEFORE}[0-9a-fA-F]{{8}}-(?:[0-9a-fA-F]{{4}}-){{3}}[0-9a-fA-F]{{12}}{_AFTER}"),
    ("id", rf"{_BEFORE}[0-9a-f]{{32,64}}{_AFTER}"),  # of machines, boots and containers
    ("mac", rf"{_BEFORE}(?:{_HEX}{{2}}:){{5,7}}{_HEX}{{2}}{_AFTER}(?!:{_HEX})"),
    ("mac", rf"{_BEFORE}(?:{_HEX}{{2}}-){{5,7}}{_HEX}{{2}}{_AFTER}(?!-{_HEX})"),
    ("mac", rf"(?<=enx)[0-9a-f]{{12}}{_AFTER}"),
    (
        "address",
        rf"{_BEFORE}(?:{_HEX}{{1,4}}(?::{_HEX}{{0,4}}){{2,7}}(?<!:)|{_HEX}{{1,4}}(?::{_HEX}{{1,4}}){{0,6}}::"
        rf"|::{_HEX}{{1,4}}(?::{_HEX}{{1,4}}){{0,6}}){_AFTER}(?!:{_HEX}|\.\d)",
    ),
    ("address", rf"(?<![\d.])(?<!\d-)(?:{_OCTET}\.){{3}}{_OCTET}(?!\.?\d)"),
)
# A folder of a person's own, and what lies below it.
HOME = re.compile(
    rf"(?P<top>(?:/var)?/home/|/Users/)(?P<who>{_NAME})(?P<below>/[^\s'\",;:)\]<>]{{1,400}})?"
    r"|(?P<root>/root/|~/)(?P<deep>[^\s'\",;:)\]<>]{1,400})"
)


def field_kind(record: Struct, field: str) -> str | None:
    """What a whole field is, if it is private."""
    name = type(record).__name__
    if (name, field) == ("AclEntry", "name"):
        return "group" if "group" in str(getattr(record, "tag", "")) else "user"
    return FIELDS.get((name, field))


def key_kind(record: Struct, field: str, key: str) -> str | None:
    """What the value of a dictionary's key is, if it is private."""
    name = type(record).__name__
    if (name, field, key) == ("Event", "data", "v"):
        return "serial" if getattr(record, "data", {}).get("k") == "SerialNumber" else None
    return KEYS.get((name, field, key))


def told(text: str) -> Iterator[tuple[str, str]]:
    """The private words that a text itself names as such, each with its kind."""
    for kind, pattern in TELLING:
        for match in pattern.finditer(text):
            yield kind, match[1]


def is_kept(kind: str, word: str) -> bool:
    """System accounts, root hubs' serial numbers, and what is only blanks."""
    if not word.strip():
        return True
    if kind in ("user", "group"):
        return word in SYSTEM_NAMES
    return kind == "serial" and CONTROLLER.fullmatch(word) is not None


def is_address(text: str, ports: frozenset[str], version: bool) -> bool:
    """Whether a candidate of `FORMS` is an address of the internet, and no time, port path or bare colons.

    `version`: it begins a field that holds a version, which has a small number first.
    """
    from ipaddress import IPv6Address

    if "." in text:
        return text not in ports and not (version and text[1] == ".")
    try:
        return IPv6Address(text).packed not in (bytes(16), bytes(15) + b"\1")
    except ValueError:
        return False
