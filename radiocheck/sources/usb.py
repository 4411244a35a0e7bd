"""USB devices, root hubs and interfaces, read from /sys/bus/usb/devices.

The files and their meaning: Documentation/ABI/stable/sysfs-bus-usb and
testing/sysfs-bus-usb of the kernel; how they are printed: drivers/usb/core/sysfs.c.
Only files whose text the kernel keeps at hand are read: no request goes to a device,
and none is woken.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from typing import Any

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap
from radiocheck.evidence.usb import UsbDevice, UsbInterface

from .machine import Machine, Seen, decoded, refused
from .sysfs import linked_name

DEVICES = "/sys/bus/usb/devices"
ATTEMPTS = 3  # a device that enumerates anew while it is read is read again, this often

Parse = Callable[[str], Any]
Fields = tuple[tuple[str, str, Parse, Any], ...]  # field, file, how to parse, what its absence means

_DEVICE_NAME = re.compile(r"usb\d+|\d+-\d+(?:\.\d+)*")  # kernel: usb_alloc_dev() in drivers/usb/core/usb.c
_INTERFACE_NAME = re.compile(r"\d+-\d+(?:\.\d+)*:\d+\.\d+")
_PCI_ADDRESS = re.compile(r"[0-9a-f]{4,}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]")


def _decimal(text: str) -> int:
    return _bounded(int(text, 10))


def _hexadecimal(text: str) -> int:
    return _bounded(int(text, 16))


def _bounded(number: int) -> int:
    if not -(1 << 31) <= number < 1 << 32:  # the kernel prints these from 32-bit fields
        raise ValueError
    return number


def _flag(text: str) -> bool:
    return {"0": False, "1": True}[text]


def _four_digits(text: str) -> str:
    if not re.fullmatch(r"[0-9a-fA-F]{4}", text):
        raise ValueError
    return text.lower()


def _speed(text: str) -> float:
    speed = float(text)
    if not 0 < speed < 1e6:  # refuses nan too
        raise ValueError
    return speed


def _milliampere(text: str) -> int | None:
    return _decimal(text.removesuffix("mA")) if text else None  # empty: no active configuration


def _configuration(text: str) -> int | None:
    return _decimal(text) if text else None  # empty: unconfigured


def _self_powered(text: str) -> Any:
    return bool(_hexadecimal(text) & 0x40) if text else UNSET  # USB 2.0 table 9-10, bmAttributes D6


def _string(text: str) -> str | None:
    return text or None


_DEVICE: Fields = (
    ("bus", "busnum", _decimal, UNSET),
    ("devnum", "devnum", _decimal, UNSET),
    ("path", "devpath", str, UNSET),
    ("vid", "idVendor", _four_digits, UNSET),
    ("pid", "idProduct", _four_digits, UNSET),
    ("bcd", "bcdDevice", _four_digits, UNSET),
    # the kernel makes no file for a string that the device does not have, or that it could not read
    ("manufacturer", "manufacturer", _string, None),
    ("product", "product", _string, None),
    ("serial", "serial", _string, None),
    ("device_class", "bDeviceClass", _hexadecimal, UNSET),
    ("version", "version", str, UNSET),
    ("speed", "speed", _speed, UNSET),
    ("ports", "maxchild", _decimal, UNSET),
    ("self_powered", "bmAttributes", _self_powered, UNSET),
    ("max_power_ma", "bMaxPower", _milliampere, UNSET),
    ("configuration", "bConfigurationValue", _configuration, UNSET),
    ("authorized", "authorized", _flag, UNSET),
    ("removable", "removable", str, UNSET),
    ("power_control", "power/control", str, UNSET),
    ("autosuspend_ms", "power/autosuspend_delay_ms", _decimal, UNSET),
    ("runtime_status", "power/runtime_status", str, UNSET),
    ("connected_ms", "power/connected_duration", _decimal, UNSET),
    ("urbs", "urbnum", _decimal, UNSET),
)
_ROOT_HUB: Fields = (("authorized_default", "authorized_default", _decimal, UNSET),)
_INTERFACE: Fields = (
    ("number", "bInterfaceNumber", _hexadecimal, UNSET),
    ("class_", "bInterfaceClass", _hexadecimal, UNSET),
    ("subclass", "bInterfaceSubClass", _hexadecimal, UNSET),
    ("protocol", "bInterfaceProtocol", _hexadecimal, UNSET),
    ("endpoints", "bNumEndpoints", _hexadecimal, UNSET),
    ("authorized", "authorized", _flag, UNSET),
    ("label", "interface", _string, None),
    ("modalias", "modalias", _string, None),
)
_VERBATIM = {"manufacturer", "product", "serial", "label"}  # a device's own words: blanks are kept


def collect(machine: Machine) -> Seen:
    """`usb`: every device that was there from the listing to the end of its reading."""
    if not machine.exists(DEVICES):
        if machine.exists("/sys/bus"):
            return Seen({"usb": []})  # no USB core in this kernel, so no device either
        return Seen(gaps=(Gap(what="usb", why="not-here", detail="/sys is not mounted", provide="mount sysfs"),))
    try:
        names = machine.names(DEVICES)
    except OSError as error:
        return Seen(gaps=(refused("usb", error),))
    gaps: list[Gap] = []
    devices = [_device(machine, name, gaps) for name in names if _DEVICE_NAME.fullmatch(name)]
    return Seen({"usb": [device for device in devices if device]}, tuple(gaps))


def _device(machine: Machine, name: str, gaps: list[Gap]) -> UsbDevice | None:
    """The device, all of one enumeration; None when it left meanwhile."""
    for _ in range(ATTEMPTS):
        before = _enumeration(machine, name)
        if before is None:
            return None
        own: list[Gap] = []
        device = _read_device(machine, name, own)
        if _enumeration(machine, name) == before:
            gaps.extend(own)
            return device
    return None  # never the same device twice: there is no one device to tell of


def _enumeration(machine: Machine, name: str) -> str | None:
    """What changes when another device takes this place: its device number; None when it is gone."""
    try:
        number = machine.attribute(f"{DEVICES}/{name}/devnum")
    except OSError:
        number = None
    if number is None and os.path.exists(machine.path(f"{DEVICES}/{name}")):
        return ""
    return number


def _read_device(machine: Machine, name: str, gaps: list[Gap]) -> UsbDevice:
    folder, what = f"{DEVICES}/{name}", f"usb[{name}]"
    root_hub = name.startswith("usb")
    parent = _parent(name)
    values = _fields(machine, folder, what, _DEVICE + _ROOT_HUB if root_hub else _DEVICE, gaps)
    values["driver"] = linked_name(machine, f"{folder}/driver", f"{what}.driver", gaps)
    values["controller"] = _controller(machine, name, gaps)
    values["port"] = None if parent is None else _port(machine, name, parent, gaps)
    try:
        inside = machine.names(folder)
        values["interfaces"] = [
            interface
            for entry in inside
            if _INTERFACE_NAME.fullmatch(entry) and (interface := _interface(machine, folder, entry, what, gaps))
        ]
    except OSError as error:
        gaps.append(refused(f"{what}.interfaces", error))
    return UsbDevice(name=name, parent=parent, **values)


def _interface(machine: Machine, device: str, name: str, owner: str, gaps: list[Gap]) -> UsbInterface | None:
    """The interface; None when a change of the configuration took it away meanwhile."""
    folder, what = f"{device}/{name}", f"{owner}.interfaces[{name}]"
    own: list[Gap] = []
    values = _fields(machine, folder, what, _INTERFACE, own)
    values["driver"] = linked_name(machine, f"{folder}/driver", f"{what}.driver", own)
    try:
        values["ttys"] = _ttys(machine, folder)
    except OSError as error:
        own.append(refused(f"{what}.ttys", error))
    if not machine.exists(folder):
        return None
    gaps.extend(own)
    return UsbInterface(name=name, **values)


def _ttys(machine: Machine, interface: str) -> list[str]:
    """`X/tty/ttyACM0` of cdc-acm, `X/ttyUSB0/tty/ttyUSB0` of the usb-serial bus."""
    ports = [entry for entry in machine.names(interface) if entry.startswith("tty")]
    folders = [interface + "/tty" if entry == "tty" else f"{interface}/{entry}/tty" for entry in ports]
    return sorted(decoded(tty) for folder in folders for tty in machine.names(folder))


def _parent(name: str) -> str | None:
    """The hub above: a device's name is its bus and the ports on the way to it."""
    if name.startswith("usb"):
        return None
    bus, _, ports = name.partition("-")
    above, dot, _ = ports.rpartition(".")
    return f"{bus}-{above}" if dot else f"usb{bus}"


def _port(machine: Machine, name: str, parent: str, gaps: list[Gap]) -> Any:
    """Name of the port object; older kernels have no `port` link, so the hub is asked for it too."""
    linked = linked_name(machine, f"{DEVICES}/{name}/port", f"usb[{name}].port", gaps)
    if linked is not None:
        return linked
    number = re.split(r"[-.]", name)[-1]
    port = f"{parent}-port{number}"
    try:
        for entry in machine.names(f"{DEVICES}/{parent}"):
            if _INTERFACE_NAME.fullmatch(entry) and machine.exists(f"{DEVICES}/{parent}/{entry}/{port}"):
                return port
    except OSError as error:
        gaps.append(refused(f"usb[{name}].port", error))
        return UNSET
    return None


def _controller(machine: Machine, name: str, gaps: list[Gap]) -> Any:
    """PCI address of the nearest PCI function above the root hub, else the device that carries it."""
    try:
        steps = os.readlink(machine.path(f"{DEVICES}/{name}")).split("/")
    except FileNotFoundError:
        return UNSET  # it left; the caller finds out
    except OSError as error:
        gaps.append(refused(f"usb[{name}].controller", error))
        return UNSET
    root = next((place for place, step in enumerate(steps) if re.fullmatch(r"usb\d+", step)), 0)
    above = steps[:root]
    nearest_pci = next((step for step in reversed(above) if _PCI_ADDRESS.fullmatch(step)), None)
    return nearest_pci or (above[-1] if above else None)


def _fields(machine: Machine, folder: str, what: str, fields: Fields, gaps: list[Gap]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for field, file, parse, absent in fields:
        try:
            text = machine.attribute(f"{folder}/{file}")
        except OSError as error:
            gaps.append(refused(f"{what}.{field}", error))
            continue
        if text is None:
            values[field] = absent
            continue
        text = text.replace("\0", "").rstrip("\n")
        try:
            values[field] = parse(text if field in _VERBATIM else text.strip())
        except (ValueError, KeyError):
            gaps.append(Gap(what=f"{what}.{field}", why="malformed", detail=f"{file}: {text[:80]}"))
    return values
