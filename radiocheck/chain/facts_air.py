"""Facts about what sits beside the adapter.

SuperSpeed signalling makes broadband noise over the whole 2.4 GHz band, at the connectors
and along the cable (USB 3.0 RFI white paper, document 327216-001, April 2012; read in
quotations only).  Where a connector is follows from the port's number and from firmware.
"""

from __future__ import annotations

from radiocheck.evidence.absent import known, seen
from radiocheck.evidence.usb import PhysicalPlace, UsbDevice, UsbPort

from .adapters import is_hub, label
from .context import Context
from .inside import emulated
from .subjects import Subject
from .view import AirFacts

SUPERSPEED = 5000.0  # Mb/s


def air_facts(context: Context, subject: Subject) -> AirFacts:
    """The SuperSpeed device nearest to an adapter, if one is beside it."""
    device = subject.device
    if device is None or not known(context.devices) or not known(context.ports):
        return AirFacts()
    own = context.ports.get(device.port) if isinstance(device.port, str) else None
    if own is None or _no_socket(context, device):
        return AirFacts()
    found: list[tuple[int, UsbDevice]] = []
    for other in context.devices.values():
        if is_hub(other) or not known(other.speed) or other.speed < SUPERSPEED:
            continue
        port = context.ports.get(other.port) if isinstance(other.port, str) else None
        distance = _sockets_apart(context, own, port) if port is not None else None
        if distance is not None and distance <= 1:
            found.append((distance, other))
    if not found:
        if not context.whole("usb") or not context.whole("ports"):
            return AirFacts()
        return AirFacts(neighbour=None, neighbour_mbps=None, neighbour_where=None)
    distance, nearest = min(found, key=lambda pair: (pair[0], pair[1].name))
    return AirFacts(
        neighbour=label(nearest),
        neighbour_mbps=int(nearest.speed) if known(nearest.speed) else None,
        neighbour_where="the same socket" if distance == 0 else "the next socket",
    )


def _no_socket(context: Context, device: UsbDevice) -> bool:
    """In a VM, whether its port is one that an emulated controller makes: only the host's ports are sockets."""
    if context.inside is not True:
        return False
    controllers = context.evidence.controllers
    mine = [one for one in controllers if one.address == device.controller] if known(controllers) else []
    return all(emulated(one) is not False for one in mine)


def _sockets_apart(context: Context, own: UsbPort, other: UsbPort) -> int | None:
    """How many sockets lie between two ports; None when they are on different hubs, panels, or not known.

    A socket has a USB 2 and a SuperSpeed port; the kernel links them as peers
    (drivers/usb/core/port.c, find_and_link_peer).  Neighbouring numbers on one hub are
    taken for neighbouring sockets unless firmware says that they are on different panels.
    """
    if seen(own.location) and own.location == other.location:
        return 0
    twin = context.ports.get(other.peer) if isinstance(other.peer, str) and known(context.ports) else None
    if twin is None:
        return None
    if twin.name == own.name:
        return 0
    if twin.hub != own.hub:
        return None
    if (
        isinstance(own.place, PhysicalPlace)
        and isinstance(twin.place, PhysicalPlace)
        and own.place.panel != twin.place.panel
    ):
        return None
    return abs(twin.number - own.number)
