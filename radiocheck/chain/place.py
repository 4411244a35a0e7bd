"""Whether an adapter is on the bus, where it sits, and what the log has of it there."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event
from radiocheck.evidence.usb import UsbPort

from .adapters import is_hub, is_placed
from .bound import certain
from .context import Context
from .history import Stay, port_of, stays
from .item import Item, matches
from .start_error import start_error
from .subjects import Subject
from .turned import turned


def present(context: Context, subject: Subject) -> bool | UnsetType:
    """False when the whole bus was seen without it, or when the log's last word is that it left or never got there."""
    if subject.device is not None:
        return True
    if subject.known_by in ("port", "log") or (subject.stay is not None and _is_away(context, subject.stay)):
        return False
    if any(_not_found(context, item) or turned(context.evidence, item) for item in subject.items):
        return False
    devices = [one for one in context.devices.values() if not is_hub(one)] if known(context.devices) else []
    unsure = any(not known(matches(item, one)) for item in subject.items for one in devices if item.kind == "device")
    return certain(False, context.whole("usb") and not unsure)


def _not_found(context: Context, item: Item) -> bool:
    """Whether the last thing said of a line is that nothing on the bus is what it asks for."""
    said = start_error(context.evidence, item)
    return known(said) and said is not None and said.kind in ("libvirt-not-found", "no-such-device")


def _is_away(context: Context, stay: Stay) -> bool:
    """Whether the log has seen it leave, and nothing come since that could be it."""
    since = stays(context.events) if known(context.events) else []
    here = [one for one in since if not one.gone and (one.device == stay.device or one.identity == stay.identity)]
    return stay.gone and not here


def place_of(subject: Subject) -> str | None:
    """Where it is, was or tries to be: a sysfs device name; None when that was not seen."""
    place = subject.device.name if subject.device is not None else subject.place
    return place if place is not None and is_placed(place) else None


def port_record(context: Context, subject: Subject) -> UsbPort | UnsetType | None:
    """The port object of that place; null: there is none; absent: not seen, or the place is not known."""
    place = place_of(subject)
    if not known(context.ports) or place is None:
        return UNSET
    if subject.device is not None and isinstance(subject.device.port, str):
        port: str | None = subject.device.port
    else:
        port = port_of(place)
    return context.ports.get(port or "", None if context.whole("ports") else UNSET)


def log_of(context: Context, subject: Subject) -> tuple[Sequence[Event], bool]:
    """As `Context.log_since_arrival`, of an adapter."""
    place = subject.device.name if subject.device is not None else subject.place
    return context.log_since_arrival(place)
