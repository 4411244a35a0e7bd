"""Facts about an adapter's place on the bus: is it enumerated, and does it last."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known, seen
from radiocheck.evidence.record import Event
from radiocheck.evidence.usb import UsbDevice, UsbPort

from .bound import certain, count
from .context import Context
from .held import all_interfaces
from .history import about, failing, recent, stays
from .pasted import is_paste
from .place import log_of, place_of, port_record
from .subjects import Subject
from .view import BusFacts


def bus_facts(context: Context, subject: Subject) -> BusFacts:
    """Enumeration, and whether it lasts."""
    device, place = subject.device, place_of(subject)
    port = port_record(context, subject)
    own: dict[str, Any] = {}
    if device is not None:
        own = {
            "authorized": True if device.interfaces and not known(device.authorized) else device.authorized,
            "configured": _configured(device),
            "interfaces": _interfaces(context, device),
            "speed_mbps": int(device.speed) if known(device.speed) else UNSET,
            "connected_s": device.connected_ms // 1000 if known(device.connected_ms) else UNSET,
        }
    if seen(port) and isinstance(port, UsbPort):
        own |= {"port_state": port.state, "port_off": port.disabled, "port_stopped": port.early_stop}
    elif port is None:
        own |= {"port_state": "none", "port_off": False, "port_stopped": False}
    if known(context.events):
        own |= _from_log(context, subject, context.events, place)
    return BusFacts(**own)


def _from_log(context: Context, subject: Subject, events: Sequence[Event], place: str | None) -> dict[str, Any]:
    """The facts that only the log has."""
    trouble = failing(events)
    if subject.device is not None:
        trouble = {name: errors for name, errors in trouble.items() if name == place}
    elif place is not None:
        trouble = {name: errors for name, errors in trouble.items() if name == place} or trouble
    if known(context.devices):
        trouble = {name: errors for name, errors in trouble.items() if name not in context.devices or name == place}
    errors = [event for found in trouble.values() for event in found]
    mine = recent(about(events, place), context.now) if place else None
    arrival, all_told = log_of(context, subject)
    whole = context.whole("kernel_log")
    controller = subject.device.controller if subject.device is not None else None
    full = [
        event
        for event in (arrival if subject.device is not None else recent(events, context.now))
        if event.kind == "out-of-resources"
    ]
    present = subject.device is not None
    none: UnsetType | None = None if present or whole else UNSET  # no error is in the log
    dead = _dead(events, controller if isinstance(controller, str) else None)
    return {
        "errors": 0 if present else count(len(errors), whole),
        "gave_up": False if present else certain(any(event.kind == "gave-up" for event in errors), whole),
        "failed_port": none if present or not errors else next(iter(trouble)),
        "error": none if present or not errors else errors[-1].text,
        "failed_s": _failed_s(context, errors) if errors and not present else none,
        "dead_controller": dead or (None if whole or dead is not None else UNSET),
        "disconnects": _count(mine, "disconnect", whole),
        "resets": _count(mine, "reset", whole),
        "noise": _count(mine, "noise", whole),
        "left_s": _left_s(context, events, place),
        "controller_dead": certain(dead is not None, whole),
        "controller_full": certain(bool(full), all_told if present else whole),
        "no_interfaces": certain(any(one.kind in ("no-interfaces", "no-configuration") for one in arrival), all_told),
    }


def _configured(device: UsbDevice) -> bool | UnsetType:
    """Only a configured device has interfaces (drivers/usb/core/message.c, usb_set_configuration)."""
    if not known(device.configuration):
        return True if device.interfaces else UNSET
    return device.configuration is not None


def _interfaces(context: Context, device: UsbDevice) -> int | UnsetType:
    if not known(device.interfaces):
        return UNSET
    return count(len(device.interfaces), all_interfaces(device, context.evidence))


def _left_s(context: Context, events: Sequence[Event], place: str | None) -> int | UnsetType | None:
    """Seconds since it last left; in a paste without times the log's last word is now."""
    gone = [stay for stay in stays(events) if stay.device == place and stay.gone] if place is not None else []
    if not gone:
        return None if context.whole("kernel_log") else UNSET
    if gone[-1].ended is None:
        return 0 if is_paste(context.evidence) else UNSET
    return int(context.now - gone[-1].ended)


def _count(events: Sequence[Event] | None, kind: str, whole: bool) -> int | UnsetType:
    """How many; absent when the place is not known."""
    return UNSET if events is None else count(sum(1 for event in events if event.kind == kind), whole)


def _failed_s(context: Context, errors: Sequence[Event]) -> int | UnsetType:
    """Seconds since the newest enumeration error; absent: the log tells no times."""
    return int(context.now - errors[-1].at) if errors[-1].at is not None else UNSET


def _dead(events: Sequence[Event], controller: str | None) -> str | None:
    """The controller that died and was not registered again, "" when its address is not told; null: none."""
    dead: dict[str, None] = {}
    for event in events:
        if event.kind == "controller-dead":
            dead[event.controller or ""] = None
        elif event.kind == "bus-registered":
            dead.pop(event.controller or "", None)
    if controller is not None:
        return controller if controller in dead else None
    return next(iter(dead), None)
