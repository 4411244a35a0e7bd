"""Facts about who drives the interface, what the tty is called, and who may and does open it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event
from radiocheck.evidence.serial import Node, Service, Tty
from radiocheck.evidence.usb import Module, UsbDevice, UsbInterface

from .adapters import SERIAL_MODULES, VENDOR, serial_interfaces
from .bound import certain, count
from .context import Context
from .disguise import id_erased, shown_as_drive
from .facts_app import app_facts
from .facts_choice import serial_group
from .facts_container import container_facts, node_of
from .held import all_interfaces, all_ttys, device_ttys, of_hypervisor
from .holders import holders, is_receiver
from .kept_out import kept_out
from .kinds import is_network
from .pasted import is_paste
from .rights import group_may_open, may_open
from .subjects import Subject
from .view import AccessFacts, DriverFacts, InterfaceFacts


def driver_facts(context: Context, subject: Subject) -> DriverFacts:
    """Who owns the interfaces."""
    device = subject.device
    if device is None:
        return DriverFacts()
    interfaces = serial_interfaces(device, context.evidence) or list(
        device.interfaces if known(device.interfaces) else []
    )
    first = interfaces[0] if interfaces else None
    log, all_told = context.log_since_arrival(device.name)
    logged = known(context.events)
    whole = all_interfaces(device, context.evidence)
    module = kept_out(context.evidence, device) or _module(context, interfaces, whole)
    return DriverFacts(
        owner=_owner(device, interfaces, whole),
        name=_first_driver(interfaces) if interfaces or whole else UNSET,
        interface=first.name if first else None if whole else UNSET,
        interfaces=[
            InterfaceFacts(
                name=one.name,
                driver=one.driver,
                authorized=one.authorized,
                tty=(one.ttys[0] if one.ttys else None) if known(one.ttys) else UNSET,
            )
            for one in interfaces
        ]
        + ([] if whole else [InterfaceFacts()]),
        tty=next(iter(device_ttys(device)), None if all_ttys(device, context.evidence) else UNSET),
        module=module if not isinstance(module, Module) else module.name,
        files=context.evidence.module_files,
        not_found=_not_found(context, interfaces),
        unserved=_unserved(device, whole),
        as_drive=shown_as_drive(context.evidence, device) if is_paste(context.evidence) else None,
        loaded=module.loaded if isinstance(module, Module) else False if module is None else UNSET,
        available=module.available if isinstance(module, Module) else False if module is None else UNSET,
        blocked_by=module.blocked_by if isinstance(module, Module) else None if module is None else UNSET,
        erased=is_paste(context.evidence) and id_erased(device),
        probe_error=_probe_error(log) or (None if logged and all_told else UNSET),
        detached=certain(_detached(log), logged and all_told),
        foreign=_foreign(log) or (None if logged and all_told else UNSET),
        chip_errors=count(sum(1 for event in log if _chip_error(event)), all_told) if logged else UNSET,
        urb_stops=count(sum(1 for event in log if event.kind == "urb-stopped"), all_told) if logged else UNSET,
    )


def _unserved(device: UsbDevice, whole: bool) -> int | UnsetType:
    """How many ports of a modem have no driver, when its network interface has one (qmi_wwan, cdc_ether and others)."""
    interfaces = device.interfaces if known(device.interfaces) else []
    if not whole or any(not known(one.driver) for one in interfaces):
        return UNSET
    network = any(is_network(one) and one.driver for one in interfaces)
    bare = sum(1 for one in interfaces if one.class_ == VENDOR and one.driver is None)
    return bare if network and not device_ttys(device) else 0


def _not_found(context: Context, interfaces: Sequence[UsbInterface]) -> str | None:
    """The serial module that a program looked for in vain, as long as no serial driver is seen at work."""
    if not is_paste(context.evidence):
        return None
    modules = context.evidence.modules if known(context.evidence.modules) else []
    lost = [one.name for one in modules if one.available is False and one.name in SERIAL_MODULES]
    if any(known(one.driver) and one.driver for one in interfaces) or not lost:
        return None
    return lost[-1]


def _chip_error(event: Event) -> bool:
    return event.kind.startswith("chip-") and event.kind.endswith("error")


def _owner(device: UsbDevice, interfaces: Sequence[UsbInterface], whole: bool) -> str | UnsetType:
    """Who has the interfaces.  That nobody has them, or a driver of another kind, is told only by all of them."""
    if isinstance(device.driver, str) and device.driver == "usbip-host":
        return "usbip"
    if not known(device.interfaces):
        return UNSET
    if whole and any(not known(one.driver) for one in interfaces):
        return UNSET
    drivers = {one.driver for one in interfaces}
    if "usbfs" in drivers:
        return "usbfs"
    if device_ttys(device) or any(isinstance(one, str) and one.replace("-", "_") in SERIAL_MODULES for one in drivers):
        return "serial"
    if not whole:
        return UNSET
    return "other" if drivers - {None} else "none"


def _first_driver(interfaces: Sequence[UsbInterface]) -> str | UnsetType | None:
    if any(not known(one.driver) for one in interfaces):
        return UNSET
    return next((one.driver for one in interfaces if isinstance(one.driver, str)), None)


def _module(context: Context, interfaces: Sequence[UsbInterface], whole: bool) -> Module | UnsetType | None:
    """The kernel module that matches; null: none does."""
    if not known(context.evidence.modules):
        return UNSET
    names = {one.name for one in interfaces}
    for module in context.evidence.modules:
        if not known(module.interfaces):
            return UNSET
        if names & set(module.interfaces):
            return module
    return None if whole and context.whole("modules") else UNSET


def _probe_error(log: Sequence[Event]) -> str | None:
    """The kernel's words when a driver found the interface and could not take it, with no success after."""
    error = None
    for event in log:
        if event.kind in ("probe-failed", "endpoints-missing", "no-minor"):
            error = event.text
        elif event.kind in ("attached", "acm"):
            error = None
    return error


def _foreign(log: Sequence[Event]) -> str | None:
    """The program that fought for the interface through usbfs.  A hypervisor's threads are no strangers."""
    for event in reversed(log):
        name = event.data.get("comm", "")
        if event.kind == "foreign-set-config" and not of_hypervisor(name):
            return name
    return None


def _detached(log: Sequence[Event]) -> bool:
    """The driver let go and has not come back, and nothing was unplugged."""
    away = False
    for event in log:
        if event.kind in ("detached", "converter-gone"):
            away = True
        elif event.kind in ("attached", "acm", "disconnect", "new-device"):
            away = False
    return away


def access_facts(context: Context, subject: Subject) -> AccessFacts:
    """Rights on the tty node, who holds it, and who may take it."""
    device = subject.device
    name = next(iter(device_ttys(device)), None) if device is not None else None
    tty = context.ttys.get(name) if known(context.ttys) and name is not None else None
    node = node_of(context, tty, name)
    told = context.whole("ttys") and (device is None or all_ttys(device, context.evidence))
    facts: dict[str, Any] = {"node": node.path if node else None if told else UNSET}
    if node is not None:
        facts |= _rights(context, node)
        facts["serial_group"] = serial_group(context, tty)
    facts |= holders(context, device, node)
    facts |= _takers(context, device, tty)
    user = context.user
    if known(user):
        facts["user_exists"] = user.exists
    inside = container_facts(context, name)
    if name is None and device is not None and not all_ttys(device, context.evidence):
        inside = {"user_exists": inside["user_exists"]} if "user_exists" in inside else {}
    return AccessFacts(**{**facts, **app_facts(context, device), **inside})


def _rights(context: Context, node: Node) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "mode": f"{node.mode:03o}" if known(node.mode) else UNSET,
        "group": node.group,
        "owner": node.owner,
        "group_may_open": group_may_open(node),
    }
    user = context.user
    if known(user):
        facts["user_may_open"] = may_open(node, user.uid, user.groups)
        facts["session_may_open"] = may_open(node, user.uid, user.session_groups)
        if known(user.groups) and known(node.gid):
            facts["user_in_group"] = node.gid in user.groups
    return facts


def _takers(context: Context, device: UsbDevice | None, tty: Tty | None) -> dict[str, Any]:
    """Services that could take the port."""
    facts: dict[str, Any] = {}
    udev = tty.udev if tty is not None else UNSET
    if known(udev):
        matched = "gpsd" in udev.get("SYSTEMD_WANTS", "") or "/dev/gps" in udev.get("DEVLINKS", "")
        facts["gps_matched"] = matched and not is_receiver(device)
        facts["braille_matched"] = "BRLTTY_BRAILLE_DRIVER" in udev
    services = context.evidence.services
    if not known(services):
        return facts
    consoles = [one.unit for one in services if one.kind == "serial-console" and one.active is True]
    whole = context.whole("services")
    none = None if whole else UNSET
    facts["console"] = next((unit for unit in consoles if tty is not None and f"@{tty.name}." in unit), none)
    facts["usb_guard"] = certain(_active(services, "usb-guard") is not None, whole)
    facts["power_saver"] = _active(services, "power-saver") or none
    prober = next((one for one in services if one.kind == "modem-prober" and one.active is True), None)
    if prober is None:
        facts |= {"modem_prober": certain(False, whole), "modem_policy": none}
    else:
        facts |= {"modem_policy": prober.policy, "modem_prober": _probed(prober, device, udev)}
    return facts


def _active(services: Sequence[Service], kind: str) -> str | None:
    return next((one.unit for one in services if one.kind == kind and one.active is True), None)


def _probed(prober: Service, device: UsbDevice | None, udev: dict[str, str] | UnsetType) -> bool | UnsetType:
    """Whether the modem prober takes this device's ports (ModemManager 1.24, src/mm-filter.c).

    Its strict policy leaves generic serial bridges alone, and takes CDC ACM interfaces
    that speak AT commands (protocol 1–6) when the device has several ports.
    """
    if device is None or not known(udev) or not known(device.interfaces) or not known(prober.policy):
        return UNSET
    if udev.get("ID_MM_DEVICE_PROCESS") == "1":
        return True
    if "1" in (udev.get("ID_MM_DEVICE_IGNORE"), udev.get("ID_MM_PORT_IGNORE")):
        return False
    if prober.policy == "whitelist-only":
        return False
    if prober.policy not in ("strict", None):
        return True
    if any(one.driver in ("option", "qcserial", "qcaux", "sierra") for one in device.interfaces):
        return True
    speaks_at = any(
        one.class_ == 2 and one.subclass == 2 and known(one.protocol) and 1 <= one.protocol <= 6
        for one in device.interfaces
    )
    return speaks_at and len(device_ttys(device)) > 1
