"""What was there first at this boot: the VM, or the adapter."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import UsbDevice

from .context import Context
from .history import Stay, stays
from .item import Item
from .subjects import Subject

# Process start (clock ticks since boot) and log lines (the kernel's clock) are rounded and drift apart.
SLACK = 2.0  # seconds


def start_order(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """Facts about the VM's start against the adapter's first enumeration since the host was booted."""
    facts: dict[str, Any] = {}
    started = item.process.started if item.process is not None else UNSET
    booted = context.evidence.host.booted if known(context.evidence.host) else UNSET
    if known(started) and known(booted):
        facts["started_after_boot_s"] = int(started - booted)
    if subject.device is not None:
        facts["late_by_s"] = _late_by(context, subject.device, item)
        if known(started):
            facts |= _before(context, subject.device, started)
    return facts


def arrivals(context: Context, device: UsbDevice) -> list[Stay] | UnsetType:
    """The adapter's stays on the bus since the host was booted, oldest first; absent when the log does not reach back.

    It is known by VID, PID and serial number, or by its place when the log has no serial number.
    """
    log = context.evidence.kernel_log
    if not known(context.events) or not known(log) or log.from_boot is not True or not context.whole("kernel_log"):
        return UNSET
    booted = context.evidence.host.booted if known(context.evidence.host) else UNSET
    mine = []
    for stay in stays(context.events):
        if (stay.vid, stay.pid) != (device.vid, device.pid):
            continue
        if stay.serial != device.serial and stay.device != device.name:
            continue
        if stay.began is None:
            return UNSET
        if known(booted) and stay.began < booted - SLACK:
            continue  # pasted text may hold earlier boots
        mine.append(stay)
    return mine or UNSET


def connected_at(context: Context, device: UsbDevice) -> float | UnsetType:
    """When it was enumerated last, by the kernel's own count (sysfs `connected_duration`)."""
    return context.now - device.connected_ms / 1000 if known(device.connected_ms) else UNSET


def _before(context: Context, device: UsbDevice, started: float) -> dict[str, Any]:
    """Whether the VM's process started before the adapter was on the bus for the first time in this boot."""
    since = connected_at(context, device)
    if known(since) and since <= started + SLACK:
        return {"before_adapter": False, "adapter_late_s": None}
    found = arrivals(context, device)
    if not known(found):
        return {}
    first = min(stay.began for stay in found if stay.began is not None)
    if first <= started + SLACK:
        return {"before_adapter": False, "adapter_late_s": None}
    return {"before_adapter": True, "adapter_late_s": int(first - started)}


def _late_by(context: Context, device: UsbDevice, item: Item) -> int | UnsetType | None:
    """Seconds from libvirt's failed autostart of the VM, for want of the adapter, to the adapter's arrival.

    qemuAutostartDomain (libvirt, src/qemu/qemu_driver.c) names the VM and repeats what virhostdev.c said.
    """
    messages = context.evidence.vm_messages
    if not known(messages):
        return UNSET
    failed = [
        one
        for one in messages
        if one.kind == "libvirt-not-found" and f"Failed to autostart VM '{item.vm}': " in one.text
    ]
    if item.vid is not None:
        failed = [one for one in failed if (one.data.get("vid"), one.data.get("pid")) == (item.vid, item.pid)]
    if not failed:
        return None if context.whole("vm_messages") else UNSET
    found = arrivals(context, device)
    at = failed[-1].at
    if not known(found) or at is None:
        return UNSET
    first = min(stay.began for stay in found if stay.began is not None)
    return int(first - at) if first > at else None
