"""QEMU's command line, read for what it hands to the guest.  Pure: no file is read here.

Syntax: QEMU's docs/system (invocation), `-device` as `driver,key=value,…` with `,,` for
a comma, or as a JSON object (since 6.2); numbers as strtoull(3) with base 0 takes them,
so `010` is eight (seen with QEMU 7.2).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct, field

from radiocheck.evidence.vm import PciArg, TtyArg, UsbHostArg

# Controllers that `-device help` lists (QEMU 7.2, x86-64), and from memory that of the VIA south bridge.
_USB_BUS = re.compile(
    r"qemu-xhci|nec-usb-xhci|usb-ehci|ich9-usb-[eu]hci\d|piix[34]-usb-uhci|vt82c686b-usb-uhci|pci-ohci|sysbus-ohci"
)
_PCI = re.compile(r"(?:([0-9a-f]{1,8}):)?([0-9a-f]{1,2}):([0-9a-f]{1,2})\.([0-7])", re.IGNORECASE)
_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
_OLD_CHARDEV = {"serial", "parallel", "monitor", "qmp", "qmp-pretty", "debugcon", "gdb"}


class Arguments(Struct, frozen=True):
    """What the command line says of the path; `elsewhere` are files it takes more devices from."""

    name: str | None = None
    uuid: str | None = None  # lower-case; None: none is given, and the guest's firmware shows none
    usb: list[UsbHostArg] = field(default_factory=list)
    pci: list[PciArg] = field(default_factory=list)
    ttys: list[TtyArg] = field(default_factory=list)
    usb_bus: bool = False
    libvirt: bool = False  # the monitor has the name that libvirt gives it (src/qemu/qemu_command.c)
    elsewhere: list[str] = field(default_factory=list)


def parse(argv: Sequence[str]) -> Arguments:
    """Read a command line (the program's name may come first).  Raises nothing, passes over what it does not know."""
    found = Arguments()
    name: str | None = None
    uuid: str | None = None
    usb_bus = libvirt = False
    for option, value in _options(argv):
        if option == "device":
            usb_bus |= _device(_values(value, "driver"), found)
        elif option == "chardev":
            _chardev(value, found)
        elif option in _OLD_CHARDEV:
            path = value.removeprefix("mon:")
            if path.startswith("/dev/"):
                found.ttys.append(TtyArg(path=path))
        elif option in ("machine", "M"):
            usb_bus |= _values(value, "type").get("usb") in ("on", "yes", "true", "y")  # util/cutils.c, qapi_bool_parse
        elif option == "usb":
            usb_bus = True
        elif option == "usbdevice":
            usb_bus = True  # softmmu/vl.c switches the machine's USB on for it
            _usbdevice(value, found)
        elif option == "name":
            name = _text(_values(value, "guest").get("guest")) or name
        elif option == "uuid":
            uuid = _uuid(value) or uuid
        elif option == "smbios":  # the UUID of its type 1 is the machine's own (hw/smbios/smbios.c; seen with QEMU 7.2)
            uuid = _uuid(_values(value, "").get("uuid")) or uuid
        elif option == "mon":
            libvirt |= _values(value, "chardev").get("chardev") == "charmonitor"
        elif option == "readconfig":
            found.elsewhere.append(value)
    return Arguments(name, uuid, found.usb, found.pci, found.ttys, usb_bus, libvirt, found.elsewhere)


def pci_address(text: str) -> str | None:
    """A PCI address, with or without domain, as dddd:bb:ss.f; None when it is none."""
    match = _PCI.fullmatch(text.strip())
    if match is None:
        return None
    domain, bus, slot, function = match.groups()
    if int(slot, 16) > 0x1F:
        return None
    return f"{int(domain or '0', 16):04x}:{int(bus, 16):02x}:{int(slot, 16):02x}.{function}"


def _options(argv: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Options without their dashes, each with the word after it ("" when there is none)."""
    free_text = False  # a guest may be called "-device", and its kernel may be told anything
    for index, word in enumerate(argv):
        if word.startswith("-") and len(word) > 1 and not free_text:
            option = word[1:].removeprefix("-")
            free_text = option in ("name", "append")
            yield option, argv[index + 1] if index + 1 < len(argv) else ""
        else:
            free_text = False


def _values(text: str, first: str) -> Mapping[str, str | int]:
    """The keys and values of one argument; `first` is the key of a value that has none."""
    if text.startswith("{"):
        return _json(text)
    values: dict[str, str | int] = {}
    # A comma within a value is doubled; NUL cannot be in an argument, so it can stand for it.
    for index, part in enumerate(text.replace(",,", "\0").split(",")):
        key, equals, value = part.replace("\0", ",").partition("=")
        if equals:
            values[key] = value
        elif index == 0:
            values[first] = key
        else:
            values[key] = "on"
    return values


def _json(text: str) -> dict[str, str | int]:
    import json  # few command lines have this form

    try:
        read = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    if not isinstance(read, dict):
        return {}
    switched = {True: "on", False: "off"}
    plain = {key: switched[value] if isinstance(value, bool) else value for key, value in read.items()}
    return {key: value for key, value in plain.items() if isinstance(value, (str, int))}


def read_number(value: str | int | None) -> int | None:
    """A number as QEMU takes it; None for 0 (a wildcard), for nothing, and for what is no number."""
    if isinstance(value, int):
        return value if value > 0 else None
    match = re.fullmatch(r"\s*\+?(?:0x([0-9a-f]{1,16})|(0[0-7]{0,22})|([1-9][0-9]{0,19}))", value or "", re.IGNORECASE)
    if match is None:
        return None
    hexadecimal, octal, decimal = match.groups()
    number = int(hexadecimal, 16) if hexadecimal else int(octal, 8) if octal else int(decimal)
    return number or None


def _id(value: str | int | None) -> str | None:
    number = read_number(value)
    return None if number is None or not 0 < number <= 0xFFFF else f"{number:04x}"


def _text(value: str | int | None) -> str | None:
    return value if isinstance(value, str) and value else None


def _uuid(value: str | int | None) -> str | None:
    """A UUID as QEMU takes it (util/uuid.c, qemu_uuid_parse), lower-case."""
    return value.lower() if isinstance(value, str) and _UUID.fullmatch(value) else None


def _device(values: Mapping[str, str | int], found: Arguments) -> bool:
    """Note what a `-device` hands over; True when it is a USB controller."""
    driver = str(values.get("driver", ""))
    if driver == "usb-host":
        found.usb.append(
            UsbHostArg(
                id=_text(values.get("id")),
                vid=_id(values.get("vendorid")),
                pid=_id(values.get("productid")),
                bus=read_number(values.get("hostbus")),
                address=read_number(values.get("hostaddr")),
                port=_text(values.get("hostport")),
                node=_text(values.get("hostdevice")),
            )
        )
    elif driver in ("vfio-pci", "vfio-pci-nohotplug"):
        host = str(values.get("host") or values.get("sysfsdev") or "").rpartition("/")[2]
        if address := pci_address(host):
            found.pci.append(PciArg(address=address))
    return _USB_BUS.fullmatch(driver) is not None


def _chardev(text: str, found: Arguments) -> None:
    """Note a character device on a host tty; `tty` is the older name of the backend `serial`."""
    values = _values(text, "backend")
    if values.get("backend") in ("serial", "tty") and (path := _text(values.get("path"))):
        found.ttys.append(TtyArg(path=path))


def _usbdevice(text: str, found: Arguments) -> None:
    """The old `-usbdevice host:BUS.ADDRESS` and `host:VID:PID` (hexadecimal), from memory; gone before QEMU 7."""
    if match := re.fullmatch(r"host:(\d{1,3})\.(\d{1,3})", text):
        found.usb.append(UsbHostArg(bus=int(match[1]) or None, address=int(match[2]) or None))
    elif match := re.fullmatch(r"host:([0-9a-f]{1,4}):([0-9a-f]{1,4}|\*)", text, re.IGNORECASE):
        pid = None if match[2] == "*" else _id(int(match[2], 16))
        found.usb.append(UsbHostArg(vid=_id(int(match[1], 16)), pid=pid))
