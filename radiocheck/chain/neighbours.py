"""What stands around an adapter and signals at SuperSpeed: the sources of noise that a capture can show.

SuperSpeed signalling makes broadband noise over the whole 2.4 GHz band, at the connectors
and along the cable (USB 3.0 RFI white paper, document 327216-001, April 2012, section 3.1;
read in quotations only).  So a hub's own SuperSpeed link counts as well as a disk's.

Where a device sits follows from the ports: a connector has a USB 2 and a SuperSpeed port,
which the kernel links as peers (drivers/usb/core/port.c, find_and_link_peer).  Neighbouring
numbers on one hub are taken for neighbouring sockets unless firmware puts them on different
panels.  How busy a link is now cannot be seen: the transfers since the device came, divided
by that time, are the average.
"""

from __future__ import annotations

from typing import Literal

from msgspec import UNSET, Struct, UnsetType

from radiocheck.evidence.absent import known, seen
from radiocheck.evidence.usb import PhysicalPlace, UsbDevice, UsbPort

from .adapters import is_hub, label
from .context import Context
from .inside import emulated

SUPERSPEED = 5000.0  # Mb/s
SETTLED_MS = 60_000
BUSY_PER_S = 1.0  # transfers a second, on average, from which a device is called busy: a choice of ours

# Nearest first.
Where = Literal["own-hub", "connector", "next-port", "panel", "hub", "controller", "elsewhere"]
WHERE: tuple[Where, ...] = ("own-hub", "connector", "next-port", "panel", "hub", "controller", "elsewhere")
# own-hub: the adapter sits on it; connector: the same receptacle; next-port: the neighbouring port
# on the same hub; panel: the same place of the machine, as firmware tells; hub: another port of the
# same external hub; controller: the same controller; elsewhere: another one, or the way is not known.
BESIDE: frozenset[Where] = frozenset({"own-hub", "connector", "next-port", "panel", "hub"})

Activity = Literal["busy", "awake", "asleep"]


class Neighbour(Struct, frozen=True):
    """A SuperSpeed device around an adapter."""

    label: str
    name: str  # sysfs name
    mbps: int
    where: Where
    hub: bool
    activity: Activity | UnsetType  # asleep: suspended; busy: at least BUSY_PER_S transfers a second on average
    transfers_per_s: float | UnsetType = UNSET  # average since it was enumerated, or over a minute

    @property
    def beside(self) -> bool:
        """Whether it is so near that its noise may reach the antenna."""
        return self.where in BESIDE


class Seat(Struct, frozen=True):
    """Where an adapter is plugged in."""

    hubs: tuple[str, ...]  # external hubs between machine and adapter, nearest to the adapter first
    superspeed_socket: bool | UnsetType  # its receptacle carries SuperSpeed as well


def seat(context: Context, device: UsbDevice) -> Seat | UnsetType:
    """Straight in the machine, or behind hubs.  An extension cable without a hub in it cannot be seen."""
    if not known(context.devices) or not known(device.parent):
        return UNSET
    hubs: list[str] = []
    parent = device.parent
    while parent is not None and not parent.startswith("usb"):
        hub = context.devices.get(parent)
        if hub is None or not known(hub.parent) or len(hubs) > 7:  # USB 2.0, 4.1.1: at most five hubs in a row
            return UNSET
        if not _built_in(context, hub):
            hubs.append(label(hub))
        parent = hub.parent
    own = _port(context, device)
    blue: bool | UnsetType = UNSET
    if own is not None and known(own.peer):
        blue = own.peer is not None
    return Seat(tuple(hubs), blue)


def neighbours(context: Context, device: UsbDevice) -> list[Neighbour] | UnsetType:
    """SuperSpeed devices and hubs of this machine, nearest to the adapter first.

    Absent when USB devices or ports were not seen, or in a VM, whose sockets are its host's.
    Complete only if `context.whole` says so of usb and ports.
    """
    if not known(context.devices) or not known(context.ports) or _no_socket(context, device):
        return UNSET
    own = _port(context, device)
    if own is None:
        return UNSET
    above = _hubs_above(context, device)
    found: list[Neighbour] = []
    for other in context.devices.values():
        if other.name == device.name or other.name.startswith("usb"):
            continue
        if not known(other.speed) or other.speed < SUPERSPEED:
            continue
        rate = _transfers_per_s(other)
        found.append(
            Neighbour(
                label=label(other),
                name=other.name,
                mbps=int(other.speed),
                where=_where(context, device, own, other, above),
                hub=is_hub(other),
                activity=_activity(other, rate),
                transfers_per_s=rate,
            )
        )
    return sorted(found, key=lambda one: (WHERE.index(one.where), one.activity == "asleep", one.hub, one.name))


def _port(context: Context, device: UsbDevice) -> UsbPort | None:
    return context.ports.get(device.port) if known(context.ports) and isinstance(device.port, str) else None


def _hubs_above(context: Context, device: UsbDevice) -> frozenset[str]:
    """Sysfs names of the hubs an adapter sits on, and of their SuperSpeed halves: the same box and cable."""
    assert known(context.devices)
    assert known(context.ports)
    names: set[str] = set()
    parent = device.parent
    while isinstance(parent, str) and not parent.startswith("usb") and parent not in names:
        names.add(parent)
        hub = context.devices.get(parent)
        port = _port(context, hub) if hub is not None else None
        twin = context.ports.get(port.peer) if port is not None and isinstance(port.peer, str) else None
        if twin is not None and isinstance(twin.device, str):
            names.add(twin.device)
        parent = hub.parent if hub is not None else None
    return frozenset(names)


def _where(context: Context, device: UsbDevice, own: UsbPort, other: UsbDevice, above: frozenset[str]) -> Where:
    if is_hub(other) and other.name in above:
        return "own-hub"
    port = _port(context, other)
    same_controller = known(other.controller) and other.controller == device.controller and seen(other.controller)
    far: Where = "controller" if same_controller else "elsewhere"
    if port is None:
        return far
    assert known(context.ports)
    if seen(own.location) and own.location == port.location:
        return "connector"
    twin = context.ports.get(port.peer) if isinstance(port.peer, str) else None
    if twin is not None and twin.name == own.name:
        return "connector"
    apart = _panels_differ(own, port)
    if twin is not None and twin.hub == own.hub and not apart:
        if abs(twin.number - own.number) == 1:
            return "next-port"
        if not own.hub.startswith("usb"):
            return "hub"
    return "panel" if _same_place(own, port) else far


def _panels_differ(own: UsbPort, other: UsbPort) -> bool:
    mine, its = own.place, other.place
    if not isinstance(mine, PhysicalPlace) or not isinstance(its, PhysicalPlace):
        return False
    told = (mine.panel, its.panel)
    return all(known(word) and word != "unknown" for word in told) and mine.panel != its.panel


def _same_place(own: UsbPort, other: UsbPort) -> bool:
    """Whether firmware puts both at one place: panel, height and side (ACPI _PLD) all told and equal."""
    mine, its = own.place, other.place
    if not isinstance(mine, PhysicalPlace) or not isinstance(its, PhysicalPlace):
        return False
    told = (mine.panel, mine.vertical, mine.horizontal)
    return all(known(word) and word != "unknown" for word in told) and told == (its.panel, its.vertical, its.horizontal)


def _activity(device: UsbDevice, rate: float | UnsetType) -> Activity | UnsetType:
    if not known(device.runtime_status):
        return UNSET
    if device.runtime_status == "suspended":
        return "asleep"
    return "busy" if known(rate) and rate >= BUSY_PER_S else "awake"


def _transfers_per_s(device: UsbDevice) -> float | UnsetType:
    """Average since the device was enumerated (Documentation/ABI: urbnum, power/connected_duration).

    Over a minute at least: reading the tables of a new disk takes hundreds of transfers, and is soon over.
    """
    if not known(device.urbs) or not known(device.connected_ms) or device.connected_ms <= 0:
        return UNSET
    return device.urbs * 1e3 / max(device.connected_ms, SETTLED_MS)


def _built_in(context: Context, hub: UsbDevice) -> bool:
    """Whether a hub is soldered into the machine, as far as firmware tells."""
    port = _port(context, hub)
    return hub.removable == "fixed" or (port is not None and port.connect_type == "hardwired")


def _no_socket(context: Context, device: UsbDevice) -> bool:
    """In a VM, whether its port is one that an emulated controller makes: only the host's ports are sockets."""
    if context.inside is not True:
        return False
    controllers = context.evidence.controllers
    mine = [one for one in controllers if one.address == device.controller] if known(controllers) else []
    return all(emulated(one) is not False for one in mine)
