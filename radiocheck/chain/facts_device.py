"""Facts about a USB device that a VM's configuration asks for."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import Handle
from radiocheck.evidence.usb import UsbDevice

from .adapters import is_hub, label
from .bound import certain, count
from .context import USBFS_MAJOR, Context
from .held import usb_minor
from .history import stays
from .item import Item, matches, picks
from .meant import misread
from .pasted import is_paste
from .place import present
from .rights import may_open
from .subjects import Subject


def device_facts(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """What a USB device line asks for, picks out and holds."""
    device = subject.device
    facts: dict[str, Any] = {
        "pinned": item.pinned,
        "startup": item.startup,
        "attached": item.attached,
        "paused": item.paused,
        "next_node": _next_node(item),
        "next_pinned": UNSET if not known(item.in_next) else item.pinned and item.in_next,
    }
    bound = known(item.live_address) and item.live_address is not None
    if bound or known(item.in_live):
        facts["live_pinned"] = bound
        facts["live_node"] = f"{item.live_bus}:{item.live_address}" if bound else None
    if known(context.devices):
        hubs = [one for one in context.devices.values() if is_hub(one) and matches(item, one) is True]
        facts["picks_hub"] = certain(bool(hubs), bool(hubs) or context.whole("usb"))
    if not item.unresolved:
        facts |= _picking(context, subject, item)
        if bound:
            facts["live_current"] = _is_current(context, subject, item)
    facts["left_behind"] = is_paste(context.evidence) and bound and _is_left_behind(context, subject, item)
    if item.running is False:
        return facts | {"holds": False, "dead": False, "holds_other": None}
    if _nothing_attached(context, item):  # unless the open nodes tell more
        facts |= {"holds": False, "holds_other": None}
    if item.process is None:
        return facts
    handles = context.handles_of(item.process.pid)
    facts |= _holding(context, subject, item, handles)
    if device is not None and (not bound or facts.get("live_current") is True) and not item.missing:
        facts["may_open"] = may_open_now(context, item, device)
    return facts


def _picking(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """How many present devices it picks out, whether this is one of them, and which one it is instead."""
    if not known(context.devices):
        return {}
    this: bool | UnsetType = certain(False, present(context, subject) is False)
    if subject.device is not None:
        this = matches(item, subject.device)
    devices = [one for one in context.devices.values() if not is_hub(one)]
    answers = [(one, matches(item, one)) for one in devices]
    chosen = [one for one, answer in answers if answer is True]
    whole = context.whole("usb") and all(known(answer) for _, answer in answers)
    other = next((one for one in chosen if one is not subject.device), None)
    wrong = subject.device is not None and not chosen and misread(item, subject.device)
    facts: dict[str, Any] = {"matches": count(len(chosen), whole), "picks_this": this}
    facts["misread"] = certain(wrong, subject.device is not None or whole)
    if this is True:
        facts["picks_other"] = None
    elif known(this) and (other is not None or whole):
        facts["picks_other"] = label(other) if other is not None else None
    return facts


def _is_current(context: Context, subject: Subject, item: Item) -> bool | UnsetType:
    """Whether the number that the running VM is bound to is the one that the adapter has now."""
    device = subject.device
    if device is None:
        return certain(False, present(context, subject) is False)
    pairs = ((item.live_bus, device.bus), (item.live_address, device.devnum))
    if any(known(has) and has != bound for bound, has in pairs):
        return False
    return True if all(known(has) for _, has in pairs) else UNSET


def _is_left_behind(context: Context, subject: Subject, item: Item) -> bool:
    """Whether the log saw the number of the running VM leave, and this adapter come under another.

    It came to the same port, or it is the only one that has the IDs of the line.  QEMU was given the old
    number at its start and looks for no other (see the rule lost-by-replug).
    """
    device = subject.device
    if device is None or item.running is not True or not known(context.events):
        return False
    if not known(device.devnum) or device.devnum == item.live_address:
        return False
    if known(device.interfaces) and any(one.driver == "usbfs" for one in device.interfaces):
        return False
    others = [one for one in subject.items if one is not item and one.live_address == device.devnum]
    was = [one for one in stays(context.events) if (one.bus, one.number) == (item.live_bus, item.live_address)]
    if others or not was or not was[-1].gone:
        return False
    devices = context.devices.values() if known(context.devices) else ()
    alike = [one for one in devices if matches(item, one) is not False]
    return was[-1].device == device.name or (item.vid is not None and alike == [device])


def _nothing_attached(context: Context, item: Item) -> bool:
    """QEMU says that no adapter is behind any line of this VM, so it has none open (host-libusb.c, usb_host_close)."""
    lines = (one for subject in context.subjects for one in subject.items)
    return all(one.attached is False for one in lines if one.vm == item.vm and one.kind == "device")


def _next_node(item: Item) -> str | UnsetType | None:
    """Bus and number that the next start looks for."""
    if not known(item.in_next):
        return UNSET
    return f"{item.bus}:{item.address}" if item.in_next and item.pinned and item.bus is not None else None


def _holding(context: Context, subject: Subject, item: Item, handles: list[Handle] | UnsetType) -> dict[str, Any]:
    if not known(handles):
        return {}
    device = subject.device
    whole = context.whole("handles")
    usb = [one for one in handles if one.major == USBFS_MAJOR]
    minors: dict[int | None, UsbDevice] = {}
    if known(context.devices):
        minors = {usb_minor(one): one for one in context.devices.values()}
    current = usb_minor(device) if device is not None else None
    holds = device is not None and any(one.minor == current and not one.deleted for one in usb)
    others = [minors[one.minor] for one in usb if not one.deleted and one.minor in minors and one.minor != current]
    other = next((one for one in others if picks(item, one)), None)
    dead = [one for one in usb if one.deleted or (context.whole("usb") and one.minor not in minors)]
    if holds:
        return {"holds": True, "holds_other": None, "dead": False}
    sure = whole and (present(context, subject) is False or current is not None)
    facts: dict[str, Any] = {"holds": certain(False, sure)}
    if sure and (other is not None or context.whole("usb")):
        facts["holds_other"] = label(other) if other is not None else None
    if sure:
        facts["dead"] = certain(bool(dead), context.whole("usb"))
    return facts


def may_open_now(context: Context, item: Item, device: UsbDevice) -> bool | UnsetType:
    """By the node as the process itself sees it, else by the host's node."""
    process = item.process
    if process is None or not known(process.uid):
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
