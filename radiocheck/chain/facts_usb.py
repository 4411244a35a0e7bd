"""Facts about the machine, the adapter itself and its power."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event
from radiocheck.evidence.usb import UsbDevice

from .adapters import is_placed, label
from .bound import certain, count
from .context import Context, twins
from .facts_choice import above, names_ports
from .history import about, port_of
from .pasted import is_paste
from .place import log_of, place_of, port_record, present
from .subjects import Subject
from .turned import turned
from .view import AdapterFacts, HostFacts, PowerFacts

# USB 2.0, 7.2.1.1: a bus-powered hub has 500 mA, keeps up to one unit load of 100 mA for itself.
BUS_POWERED_HUB_MA = 400
# USB 3.2, 11.4.1.1: six unit loads of 150 mA, one of them for the hub itself.
BUS_POWERED_HUB3_MA = 750


def host_facts(context: Context) -> HostFacts:
    """The machine and the person."""
    host = context.evidence.host
    user = context.user.name if known(context.user) else UNSET
    ports = names_ports(context.evidence)
    if not known(host):
        return HostFacts(inside=context.inside, pasted=is_paste(context.evidence), user=user, libvirt_names_ports=ports)
    return HostFacts(
        pasted=is_paste(context.evidence),
        inside=context.inside,
        guest=UNSET if not known(host.virtualisation) else host.virtualisation is not None,
        container=UNSET if not known(host.container) else host.container is not None,
        udev=host.udev_running,
        libvirt_names_ports=ports,
        uptime_s=int(context.now - host.booted) if known(host.booted) else UNSET,
        user=user,
    )


def adapter_facts(context: Context, subject: Subject) -> AdapterFacts:
    """Which adapter this is, and what else is like it."""
    device, stay = subject.device, subject.stay
    common: dict[str, Any] = {
        "label": subject.label,
        "known_by": subject.known_by,
        "free": _free(context, subject),
        "free_seen": bool(_unasked(context, subject)) if is_paste(context.evidence) else UNSET,
        "seen_before": _seen_before(context, subject),
    }
    if device is None:
        asked = subject.items[0] if subject.items else None
        place = place_of(subject)
        return AdapterFacts(
            **common,
            present=present(context, subject),
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
            twins=0 if context.whole("usb") else UNSET,
            now_is=_now_is(context, subject),
            turned_into=_turned_into(context, subject),
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
        name=device.name if is_placed(device.name) else UNSET,
        bus=device.bus,
        address=device.devnum,
        path=device.path,
        hub=device.parent,
        port=device.port,
        usb_node=node,
        twins=twins(context, device),
        now_is=None,
        turned_into=None,
        **above(context, device),
    )


def _seen_before(context: Context, subject: Subject) -> bool | UnsetType:
    """Whether the log that could be read has seen this identity."""
    if not known(context.events):
        return UNSET
    return certain(subject.device is not None or subject.stay is not None, context.whole("kernel_log"))


def _free(context: Context, subject: Subject) -> list[str] | UnsetType:
    """Other present adapters that no VM asks for; absent when none was seen on a bus that was not seen whole."""
    if is_paste(context.evidence) and (shown := _unasked(context, subject)):
        return shown
    free = context.free_adapters()
    if not known(free):
        return UNSET
    found = [one.label for one in free if one is not subject]
    return found if found or context.whole("usb") else UNSET


def _unasked(context: Context, subject: Subject) -> list[str]:
    """Other adapters of a paste that none of its VMs asks for."""
    shown = [one for one in context.subjects if one.device is not None and not one.items]
    return [one.label for one in shown if one is not subject]


def _now_is(context: Context, subject: Subject) -> str | UnsetType | None:
    """What sits on the port where the absent adapter was last seen."""
    if not known(context.devices) or not known(context.events):
        return UNSET
    stay = subject.stay
    if stay is None:
        return None if context.whole("kernel_log") else UNSET
    if stay.device not in context.devices:
        return None if context.whole("usb") else UNSET
    other = context.devices[stay.device]
    return f"{label(other)} ({other.vid}:{other.pid})" if (other.vid, other.pid) != (stay.vid, stay.pid) else None


def _turned_into(context: Context, subject: Subject) -> str | None:
    """What the device that a VM asks for has become, as long as no line asks for that, too."""
    for item in subject.items:
        if (found := turned(context.evidence, item)) is not None:
            taken = any(one.items for one in context.subjects if one.device is found[1])
            return None if taken else f"{label(found[1])} ({found[1].vid}:{found[1].pid})"
    return None


def power_facts(context: Context, subject: Subject) -> PowerFacts:
    """The socket's power."""
    device = subject.device
    port = port_record(context, subject)
    place = place_of(subject)
    over = UNSET if not known(port) else port.over_current if port is not None else 0
    logged: int | UnsetType = UNSET
    short: int | UnsetType = UNSET
    refused: bool | UnsetType = UNSET
    sagged: int | UnsetType = UNSET
    if known(context.events):
        whole = context.whole("kernel_log")
        sagged = count(sum(1 for event in context.events if event.kind == "undervoltage"), whole)
        if place is not None:
            logged = count(sum(1 for event in about(context.events, place) if event.kind == "over-current"), whole)
        hub = device.parent if device is not None else None
        warned = sum(
            1 for event in context.events if event.kind == "hub-power-short" and event.device in (place, hub, None)
        )
        short = count(warned, whole and (place is not None or device is None))
        arrival, all_told = log_of(context, subject)
        refused = certain(any(event.kind == "bus-power" for event in arrival), all_told)
    if device is None:
        return PowerFacts(over_current=over, over_current_logged=logged, short=short, refused=refused, sagged=sagged)
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
        sagged=sagged,
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
    if hub is None and device.parent and not device.parent.startswith("usb") and not context.whole("usb"):
        return UNSET, UNSET, UNSET
    if hub is None or hub.name.startswith("usb"):
        return False, 0, 0
    children = [other for other in context.devices.values() if other.parent == hub.name]
    draws = [child.max_power_ma for child in children]
    load: int | UnsetType = UNSET
    if all(known(draw) for draw in draws):
        load = count(sum(draw or 0 for draw in draws if known(draw)), context.whole("usb"))
    budget = BUS_POWERED_HUB3_MA if known(hub.speed) and hub.speed >= 5000 else BUS_POWERED_HUB_MA
    by_bus = UNSET if not known(hub.self_powered) else not hub.self_powered
    return by_bus, load, budget
