"""What the kernel log remembers of devices and ports: enumerations, departures, trouble."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from radiocheck.evidence.record import Event

RECENT = 3600.0  # seconds before the evidence was taken

# Messages of a device that is on the wire and does not get through enumeration
# (drivers/usb/core/hub.c: hub_port_init, hub_port_connect).
ENUMERATION_ERRORS = frozenset(
    {
        "descriptor-error",
        "address-error",
        "no-setup-answer",
        "cannot-enable",
        "cannot-reset",
        "debounce-failed",
        "gave-up",
        "config-unreadable",
    }
)


class Stay(Struct, frozen=True):
    """One stay of a device on the bus, as the log tells it.  None: the log does not say."""

    device: str  # "1-2"
    bus: int
    number: int | None = None
    vid: str | None = None
    pid: str | None = None
    manufacturer: str | None = None
    product: str | None = None
    serial: str | None = None
    tty: str | None = None
    began: float | None = None
    ended: float | None = None
    gone: bool = False

    @property
    def identity(self) -> tuple[str | None, str | None, str | None]:
        """What survives a replug: VID, PID, serial number."""
        return self.vid, self.pid, self.serial


def port_of(device: str) -> str | None:
    """The port object that a device sits in: "1-2" → "usb1-port2", "1-1.3" → "1-1-port3"."""
    bus, dash, path = device.partition("-")
    if not dash:
        return None
    hub, _, number = path.rpartition(".")
    return f"{bus}-{hub}-port{number}" if hub else f"usb{bus}-port{number}"


def device_at(port: str) -> str | None:
    """The device name that a port object would hold: the inverse of `port_of`."""
    if match := re.fullmatch(r"usb(\d+)-port(\d+)", port):
        return f"{match[1]}-{match[2]}"
    if match := re.fullmatch(r"(\d+-[\d.]+)-port(\d+)", port):
        return f"{match[1]}.{match[2]}"
    return None


def stays(events: Sequence[Event]) -> list[Stay]:
    """Every stay that the log tells of, oldest first."""
    done: list[Stay] = []
    open_: dict[str, Stay] = {}
    for event in events:
        device = event.device
        if device is None or "-" not in device:
            continue
        if event.kind in ("new-device", "found"):
            current = open_.get(device)
            if event.kind == "new-device" or current is None or current.vid is not None:
                if current is not None:  # no disconnect was logged: the log has a hole
                    done.append(replace(current, gone=True))
                current = Stay(device=device, bus=int(device.partition("-")[0]), began=event.at)
            open_[device] = replace(
                current,
                number=_number(event.data.get("num")) or current.number,
                vid=event.data.get("vid") or current.vid,
                pid=event.data.get("pid") or current.pid,
            )
        elif device in open_:
            open_[device] = _told(open_[device], event)
            if event.kind == "disconnect":
                done.append(replace(open_.pop(device), ended=event.at, gone=True))
        elif event.kind == "disconnect":  # its arrival lies before the log begins
            number = _number(event.data.get("num"))
            done.append(
                Stay(device=device, bus=int(device.partition("-")[0]), number=number, ended=event.at, gone=True)
            )
    return done + list(open_.values())


def _told(stay: Stay, event: Event) -> Stay:
    if event.kind == "string-value":
        value = event.data.get("v")
        match event.data.get("k"):
            case "Product":
                return replace(stay, product=value)
            case "Manufacturer":
                return replace(stay, manufacturer=value)
            case "SerialNumber":
                return replace(stay, serial=value)
        return stay
    if event.kind in ("attached", "acm"):
        return replace(stay, tty=event.tty)
    return stay


def _number(text: str | None) -> int | None:
    return int(text) if text is not None and text.isdigit() else None


def located(events: Sequence[Event]) -> list[Event]:
    """The events, with those that only name a tty told the device that had it then.

    A port whose probe failed never got its tty: the line belongs to the device whose
    converter was detected just before (usb-serial.c registers ports from its own probe).
    """
    owners: dict[str, str] = {}
    detected: str | None = None
    found = []
    for event in events:
        if event.kind == "converter-detected":
            detected = event.device
        if event.tty is not None and event.device is not None:
            owners[event.tty] = event.device
        elif event.tty is not None and event.device is None:
            owner = detected if event.kind == "probe-failed" else owners.get(event.tty)
            event = replace(event, device=owner)
        found.append(event)
    return found


def recent(events: Iterable[Event], now: float) -> list[Event]:
    """Events of the last hour; events without a time count as recent."""
    return [event for event in events if event.at is None or now - event.at <= RECENT]


def about(events: Sequence[Event], device: str) -> list[Event]:
    """Events of a device or of the port it sits in, oldest first."""
    port = port_of(device)
    return [event for event in events if event.device == device or (port is not None and event.port == port)]


def since_arrival(events: Sequence[Event], device: str) -> list[Event]:
    """Events of a device since it was last enumerated; all of them when the log has no arrival."""
    mine = about(events, device)
    starts = [index for index, event in enumerate(mine) if event.kind == "new-device"]
    return mine[starts[-1] :] if starts else mine


def arrived(events: Sequence[Event], device: str) -> bool:
    """Whether the log has an enumeration of a device: then it has all that came after, too."""
    return any(event.kind == "new-device" and event.device == device for event in events)


def failing(events: Sequence[Event]) -> dict[str, list[Event]]:
    """Places where something fails to enumerate now: device name → its errors with no success after them."""
    errors: dict[str, list[Event]] = {}
    for event in events:
        device = event.device or (device_at(event.port) if event.port else None)
        if device is None:
            continue
        if event.kind in ENUMERATION_ERRORS:
            errors.setdefault(device, []).append(event)
        elif event.kind == "found":
            errors.pop(device, None)
    return errors
