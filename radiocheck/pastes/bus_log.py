"""The devices that are on the bus by a log's last word.

What a log saw enumerated and not leaving again is there, with the drivers and ttys that
it saw attached.  A driver that let go without an unplug leaves the owner open: the log
does not tell who has the interface now, unless a program fought for it before.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from msgspec import Struct, field

from radiocheck.evidence.record import Event

SPEEDS = {"low-speed": 1.5, "full-speed": 12.0, "high-speed": 480.0, "super-speed": 5000.0, "SuperSpeed": 5000.0}
_PLUS = re.compile(r"SuperSpeed (?:Plus|\+)", re.IGNORECASE)
# Messages of a device that is being enumerated, and of one that does not get through (as chain/history.py).
ERRORS = frozenset(
    """
    descriptor-error address-error no-setup-answer cannot-enable cannot-reset debounce-failed gave-up config-unreadable
    """.split()
)
_STORAGE = "usb-storage"
# What a driver says of a device that it can no longer reach.
_LAST_WORDS = frozenset({"urb-stopped", "chip-request-error", "chip-control-error", "chip-vendor-error"})
_STRINGS = {"Product": "product", "Manufacturer": "manufacturer", "SerialNumber": "serial"}
_COUNTS = {"mfr": "manufacturer", "prod": "product", "ser": "serial"}


class Logged(Struct):
    """One device as the log has it."""

    fields: dict[str, Any]
    interfaces: dict[str, dict[str, Any]] = field(default_factory=dict)  # by name, "1-2:1.0"
    arrived: bool = False  # the log has its enumeration, so that it tells of all serial drivers
    there: bool = False  # something was said that only a device on the bus can make the kernel say
    failing: bool = False  # an error of enumeration with no success after it
    fought: bool = False  # a program wanted it from its driver
    detected: str | None = None  # the interface that a serial driver took last
    settled: bool = False  # it has no interfaces, by the kernel's word

    @property
    def present(self) -> bool:
        """On the bus, as of the log's last word."""
        return self.there and not self.failing

    @property
    def all_interfaces(self) -> bool:
        """Whether the log tells of all interfaces that matter.

        Beside that of a drive there may be others that no driver took, of which no line tells.
        """
        told = any(one.get("driver") != _STORAGE for one in self.interfaces.values())
        return self.settled or (self.arrived and told)


class Bus(Struct):
    """What a log leaves behind."""

    devices: dict[str, Logged] = field(default_factory=dict)  # by name
    gone: dict[tuple[int, int], tuple[str | None, str | None]] = field(default_factory=dict)  # bus, number → VID, PID
    told: set[str] = field(default_factory=set)  # places that were left, and not taken again


def replay(events: Sequence[Event]) -> Bus:
    """Follow the log from its first event to its last."""
    bus = Bus()
    detected: str | None = None  # the device whose converter was detected last, for lines that only name a tty
    for event in events:
        if event.kind == "converter-detected":
            detected = event.device
        name = event.device or _by_port(event.port) or _by_tty(bus, event.tty) or (detected if event.tty else None)
        if name is None or "-" not in name:
            continue
        if event.kind == "disconnect":
            _left(bus, name, event)
        elif event.kind == "new-device":
            if name in bus.devices:  # the log has a hole
                _left(bus, name, event)
            bus.told.discard(name)
            bus.devices[name] = Logged(_new(name, event), arrived=True)
        elif event.kind in ERRORS:
            bus.devices.setdefault(name, Logged(_place(name))).failing = True
        elif event.kind in ("detached", "converter-gone") and name not in bus.devices:
            continue  # the kernel says so after the unplug
        elif event.kind in _LAST_WORDS and name in bus.told:
            continue  # a driver's requests still fail after the unplug
        elif event.kind in _HEARD:
            device = bus.devices.setdefault(name, Logged(_place(name)))
            if device.failing and _HEARD[event.kind] is _heard:
                continue  # a driver's error is no sign that it came up after all
            bus.told.discard(name)
            device.there, device.failing = True, False
            _HEARD[event.kind](device, event)
            if event.kind in ("attached", "acm") and event.tty is not None:
                _without(bus, name, event.tty)
            if event.kind in ("detached", "converter-gone") and not device.arrived and not _driven(device):
                del bus.devices[name]  # the line of the unplug may have been filtered out
    return bus


def _driven(device: Logged) -> bool:
    """Whether some driver, or the program that fought for it, still has an interface of it."""
    return any(one.get("ttys") or one.get("driver") for one in device.interfaces.values())


def _left(bus: Bus, name: str, event: Event) -> None:
    device = bus.devices.pop(name, None)
    fields = device.fields if device is not None else {}
    number = fields.get("devnum") or _number(event.data.get("num") if event.kind == "disconnect" else None)
    if number is not None:
        bus.gone[(int(name.partition("-")[0]), number)] = (fields.get("vid"), fields.get("pid"))
    bus.told.add(name)


def _by_port(port: str | None) -> str | None:
    if port is None:
        return None
    if match := re.fullmatch(r"usb(\d+)-port(\d+)", port):
        return f"{match[1]}-{match[2]}"
    match = re.fullmatch(r"(\d+-[\d.]+)-port(\d+)", port)
    return f"{match[1]}.{match[2]}" if match else None


def _by_tty(bus: Bus, tty: str | None) -> str | None:
    if tty is None:
        return None
    owners = (
        name
        for name, device in bus.devices.items()
        if any(tty in one.get("ttys", []) for one in device.interfaces.values())
    )
    return next(owners, None)


def _place(name: str) -> dict[str, Any]:
    """What the name itself says (drivers/usb/core/usb.c, usb_alloc_dev)."""
    bus, _, path = name.partition("-")
    above = path.rpartition(".")[0]
    return {"name": name, "bus": int(bus), "path": path, "parent": f"{bus}-{above}" if above else f"usb{bus}"}


def _new(name: str, event: Event) -> dict[str, Any]:
    fields = _place(name)
    if (number := _number(event.data.get("num"))) is not None:
        fields["devnum"] = number
    speed = event.data.get("speed", "")
    if speed in SPEEDS:
        fields["speed"] = SPEEDS[speed]
    elif _PLUS.match(speed):
        fields["speed"] = 10_000.0
    return fields


def _number(text: str | None) -> int | None:
    return int(text) if text is not None and text.isdigit() and len(text) < 4 else None


def _interface(device: Logged, event: Event) -> dict[str, Any]:
    """The interface that a message names, else the one that a serial driver took last, else the first."""
    name = event.data.get("interface") or device.detected or f"{device.fields['name']}:1.0"
    tail = name.rpartition(".")[2]
    return device.interfaces.setdefault(name, {"name": name, **({"number": int(tail)} if tail.isdigit() else {})})


def _found(device: Logged, event: Event) -> None:
    device.arrived = True  # drivers come after it
    for key in ("vid", "pid"):
        if event.data.get(key):
            device.fields[key] = event.data[key]


def _strings(device: Logged, event: Event) -> None:
    for key, name in _COUNTS.items():
        if event.data.get(key) == "0":
            device.fields.setdefault(name, None)


def _string(device: Logged, event: Event) -> None:
    name = _STRINGS.get(event.data.get("k", ""))
    if name is not None:
        device.fields[name] = event.data.get("v", "")


def _reset(device: Logged, event: Event) -> None:
    if (number := _number(event.data.get("num"))) is not None:
        device.fields["devnum"] = number


def _detected(device: Logged, event: Event) -> None:
    interface = _interface(device, event)
    device.detected = interface["name"]
    if event.data.get("drv"):
        interface["driver"] = event.data["drv"]
    device.fields |= {key: event.data[key] for key in ("vid", "pid") if event.data.get(key)}
    if (number := _number(event.data.get("num"))) is not None:
        device.fields["devnum"] = number


def _attached(device: Logged, event: Event) -> None:
    interface = _interface(device, event)
    if event.kind == "acm" and event.data.get("drv"):
        interface["driver"] = event.data["drv"]
    if event.data.get("desc"):
        interface["said"] = event.data["desc"]  # the converter's name, as its driver gives it
    ttys = interface.setdefault("ttys", [])
    if event.tty is not None and event.tty not in ttys:
        ttys.append(event.tty)
    device.fought = False


def _without(bus: Bus, name: str, tty: str | None) -> None:
    """Take away what had a tty before another device got it: it left unseen, or is of another machine's log."""
    for other, device in list(bus.devices.items()):
        if other != name and any(tty in one.get("ttys", []) for one in device.interfaces.values()):
            del bus.devices[other]


def _stored(device: Logged, event: Event) -> None:
    if event.data.get("interface"):
        _interface(device, event).update(
            driver=_STORAGE, class_=8
        )  # drivers/usb/storage takes others only by their IDs


def _let_go(device: Logged, event: Event) -> None:
    """The driver is away.  After a fight the program that wanted the interface has it through usbfs."""
    for interface in device.interfaces.values():
        theirs = interface["name"] == event.data.get("interface") or event.tty in interface.get("ttys", [])
        if theirs:
            interface["ttys"] = []
            interface.pop("driver", None)
            if device.fought:
                interface["driver"] = "usbfs"


def _probe_failed(device: Logged, event: Event) -> None:
    interface = _interface(device, event)
    interface["ttys"] = []
    if event.tty is None:  # of a tty: the interface has its driver, the port has none
        interface["driver"] = None


def _fought(device: Logged, event: Event) -> None:
    device.fought = True


def _locked(device: Logged, event: Event) -> None:
    if event.data.get("interface"):
        _interface(device, event)["authorized"] = False
        return
    device.fields |= {"authorized": False, "configuration": None}
    device.interfaces, device.settled = {}, True


def _let_in(device: Logged, event: Event) -> None:
    device.fields["authorized"] = True
    device.fields.pop("configuration", None)
    device.settled = False


def _unconfigured(device: Logged, event: Event) -> None:
    # Asked only of a device that is authorised (drivers/usb/core/generic.c, usb_generic_driver_probe; from memory).
    device.fields |= {"configuration": None, "authorized": True}
    device.interfaces, device.settled = {}, True


def _exported(device: Logged, event: Event) -> None:
    if "register new device" in event.text:
        device.fields["driver"] = "usbip-host"


def _heard(device: Logged, event: Event) -> None:
    """Nothing but that it is there."""


_HEARD: dict[str, Callable[[Logged, Event], None]] = {
    "found": _found,
    "strings": _strings,
    "string-value": _string,
    "reset": _reset,
    "converter-detected": _detected,
    "attached": _attached,
    "acm": _attached,
    "storage": _stored,
    "detached": _let_go,
    "converter-gone": _let_go,
    "probe-failed": _probe_failed,
    "endpoints-missing": _probe_failed,
    "no-minor": _probe_failed,
    "foreign-set-config": _fought,
    "not-authorised": _locked,
    "interface-not-authorised": _locked,
    "authorised": _let_in,
    "no-configuration": _unconfigured,
    "set-config-failed": _unconfigured,
    "usbip": _exported,
    "bus-power": _heard,
    "urb-stopped": _heard,
    "chip-detected": _heard,
    "chip-request-error": _heard,
    "chip-vendor-error": _heard,
    "chip-control-error": _heard,
    "unclaimed-use": _heard,
}
