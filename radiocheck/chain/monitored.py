"""What a QEMU told on its monitor, put in place of what its command line says.

A command line shows how a process was started.  What was plugged in later, or taken out,
only QEMU itself knows, and only QEMU knows whether an adapter is behind a device.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET, Struct, UnsetType, field
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.vm import Domain, Monitor, MonitorUsb, QemuProcess

from .item import Item
from .items_qemu import device_line, usb_host

LATE = ", plugged in while it ran"


class Monitors(Struct, frozen=True):
    """Monitors that answered, by whom they belong to."""

    by_pid: dict[int, Monitor] = field(default_factory=dict)
    by_domain: dict[str, Monitor] = field(default_factory=dict)
    unseen: list[Monitor] = field(default_factory=list)  # of VMs whose process was not seen


def belonging(
    monitors: Sequence[Monitor] | UnsetType,
    processes: Sequence[QemuProcess] | UnsetType,
    domains: Sequence[Domain] | UnsetType,
) -> Monitors:
    """Whose monitor each is: by the kernel's word for who listens, else by UUID, else by name.

    One without any of the three is that of the only process, when that has no name
    either; else it is told of none.
    """
    found = Monitors()
    running = processes if known(processes) else []
    for monitor in monitors if known(monitors) else []:
        if not known(monitor.usb):
            continue  # it did not answer
        process = _process(monitor, running)
        name = process.name if process is not None else monitor.name
        domain = next((one for one in (domains if known(domains) else []) if one.name == name), None)
        if process is not None:
            found.by_pid.setdefault(process.pid, monitor)
        if domain is not None:
            found.by_domain.setdefault(domain.name, monitor)
        if process is None and domain is None and (isinstance(name, str) or not running):
            found.unseen.append(monitor)
    return found


def _process(monitor: Monitor, processes: Sequence[QemuProcess]) -> QemuProcess | None:
    same = [one for one in processes if one.pid == monitor.pid]
    if not same and isinstance(monitor.uuid, str):
        same = [one for one in processes if one.uuid == monitor.uuid]
    if not same and isinstance(monitor.name, str):
        same = [one for one in processes if one.name == monitor.name]
    if not same and monitor.name is None and monitor.uuid is None and len(processes) == 1:
        same = [one for one in processes if one.name is None and one.uuid is None]
    return same[0] if len(same) == 1 else None


def of_told_process(process: QemuProcess, lines: Sequence[Item], monitor: Monitor) -> list[Item]:
    """The lines of a process, its USB devices by its monitor.

    A device of the command line that was taken out is not in the running VM, and the
    next start brings it back.
    """
    at_start = list(process.usb) if known(process.usb) else None
    found = []
    for device in monitor.usb if known(monitor.usb) else []:
        line = device_line(process, device.argument)
        if at_start is None:
            found.append(_told(line, device, monitor, late=device.hot_plugged))
        elif device.argument in at_start:
            at_start.remove(device.argument)
            found.append(_told(line, device, monitor, late=False))
        else:
            next_start = False if line.in_next is True else line.in_next  # with libvirt the command line does not tell
            found.append(_told(replace(line, in_next=next_start), device, monitor, late=True))
    for argument in at_start or []:
        line = device_line(process, argument)
        found.append(replace(line, in_live=False, live_bus=None, live_address=None, attached=False))
    return found + [item for item in lines if item.kind != "device"]


def of_told_vm(monitor: Monitor) -> list[Item]:
    """The USB devices of a VM whose process was not seen."""
    name = monitor.name if isinstance(monitor.name, str) else f"QEMU at {monitor.socket}"
    lines = []
    for device in monitor.usb if known(monitor.usb) else []:
        line = replace(
            usb_host(device.argument), vm=name, manager="qemu", running=True, autostart=None, in_live=True, in_next=True
        )
        lines.append(_told(line, device, monitor, late=device.hot_plugged))
    return lines


def of_told_domain(domain: Domain, lines: Sequence[Item], monitor: Monitor) -> list[Item]:
    """libvirt's lines with what QEMU adds: whether an adapter is behind each, and devices unknown to libvirt."""
    devices = list(monitor.usb) if known(monitor.usb) else []
    found = []
    for item in lines:
        device = next((one for one in devices if _is_behind(one, item)), None)
        if device is not None:
            devices.remove(device)
            item = replace(item, attached=device.attached, paused=_paused(monitor))
        found.append(item)
    if known(domain.live) and domain.live is not None:
        process = next((item.process for item in lines if item.process is not None), None)
        for device in devices:
            line = replace(
                usb_host(device.argument),
                vm=domain.name,
                manager="libvirt",
                running=True,
                autostart=domain.autostart,
                in_live=True,
                in_next=False,
                process=process,
            )
            found.append(_told(line, device, monitor, late=True))
    return found


def _is_behind(device: MonitorUsb, item: Item) -> bool:
    """libvirt gives QEMU the number that it found, or for a missing device no selector at all."""
    if item.kind != "device" or item.in_live is not True:
        return False
    own = usb_host(device.argument)
    if item.missing:
        return own.selector == "nothing"
    return own.live_address is not None and (own.live_bus, own.live_address) == (item.live_bus, item.live_address)


def _told(line: Item, device: MonitorUsb, monitor: Monitor, *, late: bool | UnsetType) -> Item:
    """A line of the running VM.

    Where nobody saw what QEMU was started with, the next start is open for what it did
    not have from the beginning.
    """
    if late is not False and line.in_next is True:
        line = replace(line, in_next=UNSET)
    return replace(
        line,
        text=line.text + (LATE if late is True else ""),
        attached=device.attached,
        paused=_paused(monitor),
    )


def _paused(monitor: Monitor) -> bool | UnsetType:
    """Whether the guest stands still.  QEMU looks for adapters only while it runs (usb_host_auto_check)."""
    return monitor.status != "running" if known(monitor.status) else UNSET
