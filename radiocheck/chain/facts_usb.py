"""Facts about the adapter itself, its power and its place on the bus."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known, seen
from radiocheck.evidence.record import Event
from radiocheck.evidence.usb import UsbDevice, UsbPort

from .adapters import label
from .context import Context, twins
from .history import about, failing, port_of, recent, since_arrival, stays
from .subjects import Subject
from .view import AdapterFacts, BusFacts, HostFacts, PowerFacts

# USB 2.0, 7.2.1.1: a bus-powered hub has 500 mA, keeps up to one unit load of 100 mA for itself.
BUS_POWERED_HUB_MA = 400
# USB 3.2, 11.4.1.1: six unit loads of 150 mA, one of them for the hub itself.
BUS_POWERED_HUB3_MA = 750


def host_facts(context: Context) -> HostFacts:
    """The machine and the person."""
    host = context.evidence.host
    user = context.user.name if known(context.user) else UNSET
    if not known(host):
        return HostFacts(user=user)
    return HostFacts(
        guest=UNSET if not known(host.virtualisation) else host.virtualisation is not None,
        container=UNSET if not known(host.container) else host.container is not None,
        udev=host.udev_running,
        uptime_s=int(context.now - host.booted) if known(host.booted) else UNSET,
        user=user,
    )


def place_of(subject: Subject) -> str | None:
    """Where it is, was or tries to be: a sysfs device name."""
    return subject.device.name if subject.device is not None else subject.place


def port_record(context: Context, subject: Subject) -> UsbPort | UnsetType | None:
    """The port object of that place; null: there is none; absent: not seen, or the place is not known."""
    place = place_of(subject)
    if not known(context.ports) or place is None:
        return UNSET
    if subject.device is not None and isinstance(subject.device.port, str):
        return context.ports.get(subject.device.port)
    port = port_of(place)
    return context.ports.get(port) if port else None


def adapter_facts(context: Context, subject: Subject) -> AdapterFacts:
    """Which adapter this is, and what else is like it."""
    device, stay = subject.device, subject.stay
    free = context.free_adapters()
    common: dict[str, Any] = {
        "label": subject.label,
        "known_by": subject.known_by,
        "free": [one.label for one in free if one is not subject] if known(free) else UNSET,
        "seen_before": _seen_before(context, subject),
    }
    if device is None:
        asked = subject.items[0] if subject.items else None
        place = place_of(subject)
        return AdapterFacts(
            **common,
            present=False if known(context.devices) else UNSET,
            vid=(stay.vid if stay else None) or (asked.vid if asked else None),
            pid=(stay.pid if stay else None) or (asked.pid if asked else None),
            serial=stay.serial if stay else None,
            product=stay.product if stay else None,
            manufacturer=stay.manufacturer if stay else None,
            name=place,
            bus=int(place.partition("-")[0]) if place else (asked.bus if asked else None),
            address=None,
            path=place.partition("-")[2] if place else None,
            hub=None,
            port=port_of(place) if place else None,
            usb_node=None,
            twins=0 if known(context.devices) else UNSET,
            now_is=_now_is(context, subject),
        )
    node: str | UnsetType = UNSET
    if known(device.bus) and known(device.devnum):
        node = f"/dev/bus/usb/{device.bus:03}/{device.devnum:03}"
    return AdapterFacts(
        **common,
        present=True,
        vid=device.vid,
        pid=device.pid,
        serial=device.serial,
        product=device.product,
        manufacturer=device.manufacturer,
        name=device.name,
        bus=device.bus,
        address=device.devnum,
        path=device.path,
        hub=device.parent,
        port=device.port,
        usb_node=node,
        twins=twins(context, device),
        now_is=None,
    )


def _seen_before(context: Context, subject: Subject) -> bool | UnsetType:
    """Whether the log that could be read has seen this identity."""
    if not known(context.events):
        return UNSET
    return subject.device is not None or subject.stay is not None


def _now_is(context: Context, subject: Subject) -> str | UnsetType | None:
    """What sits on the port where the absent adapter was last seen."""
    if not known(context.devices) or not known(context.events):
        return UNSET
    stay = subject.stay
    if stay is None or stay.device not in context.devices:
        return None
    other = context.devices[stay.device]
    return f"{label(other)} ({other.vid}:{other.pid})" if (other.vid, other.pid) != (stay.vid, stay.pid) else None


def power_facts(context: Context, subject: Subject) -> PowerFacts:
    """The socket's power."""
    device = subject.device
    port = port_record(context, subject)
    place = place_of(subject)
    over = UNSET if not known(port) else port.over_current if port is not None else 0
    logged: int | UnsetType = UNSET
    short: int | UnsetType = UNSET
    refused: bool | UnsetType = UNSET
    if known(context.events):
        if place is not None:
            logged = sum(1 for event in about(context.events, place) if event.kind == "over-current")
        hub = device.parent if device is not None else None
        short = sum(
            1 for event in context.events if event.kind == "hub-power-short" and event.device in (place, hub, None)
        )
        arrival = since_arrival(context.events, place) if place else []
        refused = any(event.kind == "bus-power" for event in arrival)
    if device is None:
        return PowerFacts(over_current=over, over_current_logged=logged, short=short, refused=refused)
    by_bus, load, budget = _hub(context, device)
    return PowerFacts(
        control=device.power_control,
        autosuspend_ms=device.autosuspend_ms,
        status=device.runtime_status,
        draws_ma=device.max_power_ma,
        over_current=over,
        over_current_logged=logged,
        hub_by_bus=by_bus,
        hub_load_ma=load,
        hub_budget_ma=budget,
        refused=refused,
        short=short,
    )


def _short(event: Event, where: tuple[str | None, ...]) -> bool:
    """A power warning about one of these places.

    "insufficient power available to use all downstream ports" only tells that a hub is
    bus-powered (hub.c, hub_configure), which is no trouble in itself.
    """
    return event.kind == "hub-power-short" and event.device in where and "insufficient power" not in event.text


def _hub(context: Context, device: UsbDevice) -> tuple[bool | UnsetType, int | UnsetType, int | UnsetType]:
    """Is the hub above bus-powered; what its devices may draw; what it may give."""
    if not known(context.devices) or not known(device.parent):
        return UNSET, UNSET, UNSET
    hub = context.devices.get(device.parent) if device.parent else None
    if hub is None or hub.name.startswith("usb"):
        return False, 0, 0
    children = [other for other in context.devices.values() if other.parent == hub.name]
    draws = [child.max_power_ma for child in children]
    load = sum(draw or 0 for draw in draws if known(draw)) if all(known(draw) for draw in draws) else UNSET
    budget = BUS_POWERED_HUB3_MA if known(hub.speed) and hub.speed >= 5000 else BUS_POWERED_HUB_MA
    by_bus = UNSET if not known(hub.self_powered) else not hub.self_powered
    return by_bus, load, budget


def bus_facts(context: Context, subject: Subject) -> BusFacts:
    """Enumeration, and whether it lasts."""
    device, place = subject.device, place_of(subject)
    port = port_record(context, subject)
    own: dict[str, Any] = {}
    if device is not None:
        own = {
            "authorized": device.authorized,
            "configured": UNSET if not known(device.configuration) else device.configuration is not None,
            "interfaces": len(device.interfaces) if known(device.interfaces) else UNSET,
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
    arrival = since_arrival(events, place) if place else []
    gone = [stay for stay in stays(events) if stay.device == place and stay.gone]
    left = int(context.now - gone[-1].ended) if gone and gone[-1].ended is not None else None
    controller = subject.device.controller if subject.device is not None else None
    full = [
        event
        for event in (arrival if subject.device is not None else recent(events, context.now))
        if event.kind == "out-of-resources"
    ]
    present = subject.device is not None
    return {
        "errors": 0 if present else len(errors),
        "gave_up": not present and any(event.kind == "gave-up" for event in errors),
        "failed_port": None if present or not errors else next(iter(trouble)),
        "error": None if present or not errors else errors[-1].text,
        "failed_s": _failed_s(context, [] if present else errors),
        "dead_controller": _dead(events, controller if isinstance(controller, str) else None) or None,
        "disconnects": _count(mine, "disconnect"),
        "resets": _count(mine, "reset"),
        "noise": _count(mine, "noise"),
        "left_s": left,
        "controller_dead": _dead(events, controller if isinstance(controller, str) else None) is not None,
        "controller_full": bool(full),
        "no_interfaces": any(event.kind in ("no-interfaces", "no-configuration") for event in arrival),
    }


def _count(events: Sequence[Event] | None, kind: str) -> int | UnsetType:
    """How many; absent when the place is not known."""
    return UNSET if events is None else sum(1 for event in events if event.kind == kind)


def _failed_s(context: Context, errors: Sequence[Event]) -> int | UnsetType | None:
    """Seconds since the newest enumeration error; null: none; absent: the log tells no times."""
    if not errors:
        return None
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
