"""One line of a udev rules file: its parts, and why it can never do what it says.

Grammar and operators: udev(7), and systemd 252 itself (a test holds them to what `udevadm
test` says of the same lines).  Only what is certain from the line alone is called a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from radiocheck.chain.adapters import SERIAL_MODULES

# Keys that only compare, that only set, and that do both (udev(7)).
MATCHES = frozenset(
    "ACTION DEVPATH KERNEL KERNELS SUBSYSTEM SUBSYSTEMS DRIVER DRIVERS ATTRS TAGS TEST RESULT CONST".split()
)
SETS = frozenset("MODE GROUP OWNER SECLABEL RUN LABEL GOTO OPTIONS".split())
BOTH = frozenset("NAME SYMLINK ATTR SYSCTL ENV TAG PROGRAM IMPORT".split())
KEYS = MATCHES | SETS | BOTH
MOST_PARTS = 40
_PARENT = frozenset({"KERNELS", "SUBSYSTEMS", "DRIVERS", "ATTRS", "TAGS"})
_REFUSE_MATCH = frozenset({"MODE", "GROUP", "OWNER", "SECLABEL"})

_PART = re.compile(
    r"[\s,]{0,200}(?P<key>[A-Z]{2,10})(?:\{(?P<attr>[^{}\n]{1,80})\})?\s{0,20}(?P<op>==|!=|\+=|-=|:=|=)\s{0,20}"
    r'(?P<prefix>[ei]?)"(?P<value>[^"\n]{0,400})"'
)
_END = re.compile(r"[\s,]{0,200}$")
# Attributes that only one level above a USB serial tty has: drivers/usb/core/sysfs.c (dev_attrs, dev_string_attrs,
# intf_attrs, intf_assoc_attrs), drivers/usb/serial/usb-serial.c and ftdi_sio.c.  `authorized` and `modalias` have both.
_LEVEL = {
    **dict.fromkeys(
        (
            "idVendor idProduct bcdDevice serial product manufacturer busnum devnum devpath maxchild version speed"
            " bDeviceClass bDeviceSubClass bDeviceProtocol bNumConfigurations bConfigurationValue bNumInterfaces"
            " bmAttributes bMaxPower bMaxPacketSize0 configuration urbnum quirks avoid_reset_quirk ltm_capable"
        ).split(),
        "device",
    ),
    **dict.fromkeys(
        (
            "bInterfaceNumber bInterfaceClass bInterfaceSubClass bInterfaceProtocol bAlternateSetting bNumEndpoints"
            " interface supports_autosuspend iad_bFirstInterface iad_bInterfaceCount iad_bFunctionClass"
        ).split(),
        "interface",
    ),
    **dict.fromkeys("latency_timer port_number event_char".split(), "port"),
}
_LEVELS = frozenset({"tty", "port", "interface", "device", "other"})
_SUBSYSTEMS = {"usb-serial": {"port"}, "usb": {"device", "interface"}, "tty": {"tty"}, "pci": {"other"}}
_INTERFACE_NAME = re.compile(r"[\d*?]{1,4}-[\d.*?]{1,20}:[\d.*?]{1,8}")
_DEVICE_NAME = re.compile(r"\d{1,3}-\d{1,2}(?:\.\d{1,2}){0,6}")
_TTY_NAME = re.compile(r"tty\w{0,10}[*?]?")
_HEX = frozenset({"idVendor", "idProduct", "bcdDevice"})


class Part(NamedTuple):
    """`KEY{attr}op"value"`."""

    key: str
    attr: str | None
    op: str
    value: str
    folds: bool  # compared without regard to capital letters (systemd 258)

    @property
    def compares(self) -> bool:
        """Whether it is a condition."""
        return self.op in ("==", "!=")

    def __str__(self) -> str:
        attr = f"{{{self.attr}}}" if self.attr is not None else ""
        return f'{self.key}{attr}{self.op}"{self.value}"'


class Fault(NamedTuple):
    """Why a line does nothing: its kind (operator, no-effect, own, parents, case), and the words that show it."""

    kind: str
    words: str


def parts(text: str) -> list[Part] | None:
    """The parts of a line; None when it is none, or one that udev would refuse as a whole."""
    found: list[Part] = []
    place = 0
    while not _END.match(text, place):
        match = _PART.match(text, place)
        if match is None or match["key"] not in KEYS or len(found) == MOST_PARTS:
            return None
        found.append(Part(match["key"], match["attr"], match["op"], match["value"], match["prefix"] == "i"))
        place = match.end()
    return found or None


def names(line: Sequence[Part]) -> list[str]:
    """Names under /dev that the line makes, or means to make.  Those with something to be filled in are left out."""
    told = [part.value for part in line if part.key == "SYMLINK" and part.op != "!=" and part.op != "-="]
    return [word for value in told for word in value.split() if not re.search(r"[%$*?\[]", word)]


def wanted(line: Sequence[Part], name: str) -> str | None:
    """The one value that an attribute of the device must have, in small letters if it is a number; None: none."""
    for part in line:
        if part.key in ("ATTR", "ATTRS") and part.attr == name and part.op in ("==", "="):
            return part.value.lower() if name in _HEX else part.value
    return None


def kernel(line: Sequence[Part]) -> str | None:
    """The pattern of the kernel's name that the line asks for."""
    return next((part.value for part in line if part.key == "KERNEL" and part.op in ("==", "=")), None)


def fault(line: Sequence[Part]) -> Fault | None:
    """Why the line can never do anything for a USB serial port; None when nothing in it says so."""
    for part in line:
        if (part.key in MATCHES and not part.compares) or (part.key in _REFUSE_MATCH and part.compares):
            return Fault("operator", str(part))
    if not any(_acts(part) for part in line):
        return Fault("no-effect", next((str(part) for part in line if part.key == "SYMLINK"), str(line[-1])))
    if (own := next(_own(line), None)) is not None:
        return Fault("own", str(own))
    if levels := _apart(line):
        return Fault("parents", f"{levels[0]} and {levels[1]}")
    for part in line:
        if part.attr in _HEX and part.compares and not part.folds and re.search(r"[A-F]", part.value):
            return Fault("case", str(part))
    return None


def _acts(part: Part) -> bool:
    return part.key in SETS or not part.compares or part.key in ("PROGRAM", "IMPORT")


def _own(line: Sequence[Part]) -> Iterator[Part]:
    """Attributes of the USB device that are asked of the tty itself, which has none of them."""
    of_tty = any(part.key == "SUBSYSTEM" and part.op == "==" and part.value == "tty" for part in line) or any(
        part.key == "KERNEL" and part.op == "==" and _TTY_NAME.fullmatch(part.value) for part in line
    )
    for part in line:
        if of_tty and part.key == "ATTR" and part.op == "==" and part.attr in _LEVEL:
            yield part


def _apart(line: Sequence[Part]) -> tuple[str, str] | None:
    """Two conditions on parents that no one parent can meet (udev(7): "all ... must match the same device")."""
    seen: list[tuple[frozenset[str], Part]] = []
    for part in line:
        if part.key not in _PARENT or part.op != "==":
            continue
        mine = _levels(part)
        for other, before in seen:
            if not mine & other:
                return str(before), str(part)
        seen.append((mine, part))
    return None


def _levels(part: Part) -> frozenset[str]:
    """The levels above a USB serial tty that may meet a condition."""
    if part.key == "ATTRS":
        level = _LEVEL.get(part.attr or "")
        return frozenset({level}) if level is not None else _LEVELS
    if part.key == "SUBSYSTEMS":
        return frozenset(_SUBSYSTEMS.get(part.value, _LEVELS))
    if part.key == "DRIVERS":
        if part.value == "usb":
            return frozenset({"device"})
        return frozenset({"interface", "port"}) if part.value.replace("-", "_") in SERIAL_MODULES else _LEVELS
    if part.key == "KERNELS":
        if _INTERFACE_NAME.fullmatch(part.value):
            return frozenset({"interface"})
        if _DEVICE_NAME.fullmatch(part.value):
            return frozenset({"device"})
        if _TTY_NAME.fullmatch(part.value):
            return frozenset({"tty", "port"})
    return _LEVELS
