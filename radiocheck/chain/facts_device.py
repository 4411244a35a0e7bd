"""Facts about a USB device that a VM's configuration asks for."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import Handle
from radiocheck.evidence.usb import UsbDevice

from .adapters import is_hub, label
from .context import USBFS_MAJOR, Context
from .held import usb_minor
from .item import Item, picked, picks
from .rights import may_open
from .subjects import Subject


def device_facts(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """What a USB device line asks for, picks out and holds."""
    device = subject.device
    facts: dict[str, Any] = {
        "pinned": item.pinned,
        "next_pinned": UNSET if not known(item.in_next) else item.pinned and item.in_next,
    }
    bound = known(item.live_address) and item.live_address is not None
    facts["live_pinned"] = bound
    facts["live_node"] = f"{item.live_bus}:{item.live_address}" if bound else None
    if known(context.devices) and not item.unresolved:
        devices = [one for one in context.devices.values() if not is_hub(one)]
        chosen = picked(item, devices)
        facts["matches"] = len(chosen)
        facts["picks_this"] = device is not None and picks(item, device)
        other = next((one for one in chosen if one is not device), None)
        facts["picks_other"] = label(other) if other is not None and not facts["picks_this"] else None
        if bound:
            facts["live_current"] = device is not None and (item.live_bus, item.live_address) == (
                device.bus,
                device.devnum,
            )
    if item.running is False:
        return facts | {"holds": False, "dead": False, "holds_other": None}
    if item.process is None:
        return facts
    handles = context.handles_of(item.process.pid)
    facts |= _holding(context, item, device, handles)
    if device is not None and (not bound or facts.get("live_current") is True) and not item.missing:
        facts["may_open"] = _may_open(context, item, device)
    return facts


def _holding(
    context: Context, item: Item, device: UsbDevice | None, handles: list[Handle] | UnsetType
) -> dict[str, Any]:
    if not known(handles):
        return {}
    usb = [one for one in handles if one.major == USBFS_MAJOR]
    minors: dict[int | None, UsbDevice] = {}
    if known(context.devices):
        minors = {usb_minor(one): one for one in context.devices.values()}
    current = usb_minor(device) if device is not None else None
    holds = device is not None and any(one.minor == current and not one.deleted for one in usb)
    others = [minors[one.minor] for one in usb if not one.deleted and one.minor in minors and one.minor != current]
    other = next((one for one in others if picks(item, one)), None)
    dead = [one for one in usb if one.deleted or (known(context.devices) and one.minor not in minors)]
    return {
        "holds": holds,
        "holds_other": label(other) if other is not None and not holds else None,
        "dead": bool(dead) and not holds,
    }


def _may_open(context: Context, item: Item, device: UsbDevice) -> bool | UnsetType:
    """By the node as the process itself sees it, else by the host's node."""
    process = item.process
    if process is None:
        return UNSET
    if process.uid == 0:
        return True
    if known(process.own_nodes):
        minor = usb_minor(device)
        own = next((node for node in process.own_nodes if node.major == USBFS_MAJOR and node.minor == minor), None)
        return False if own is None else may_open(own, process.uid, process.groups)
    if item.manager == "libvirt":  # libvirt makes the node inside the VM's own /dev; the host's node says nothing
        return UNSET
    node = context.usb_node(device)
    return may_open(node, process.uid, process.groups) if known(node) else UNSET
