"""What processes hold of a device, as far as it tells of a VM that has it."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, interfaces_of, whole
from radiocheck.evidence.serial import Node
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import QemuProcess

from .adapters import is_plainly_other
from .item import Item, matches
from .items_qemu import vm_name


def device_ttys(device: UsbDevice) -> list[str]:
    """The ttys of all interfaces of a device."""
    if not known(device.interfaces):
        return []
    return [name for interface in device.interfaces if known(interface.ttys) for name in interface.ttys]


def all_interfaces(device: UsbDevice, evidence: Evidence) -> bool:
    """Whether all its interfaces were seen."""
    return known(device.interfaces) and interfaces_of(device.name) not in evidence.partly


def all_ttys(device: UsbDevice, evidence: Evidence) -> bool:
    """Whether all its ttys were seen, or that it has none."""
    return (
        known(device.interfaces)
        and all_interfaces(device, evidence)
        and all(known(interface.ttys) for interface in device.interfaces)
    )


def of_hypervisor(command: str) -> bool:
    """Whether the kernel names a thread of QEMU so (util/qemu-thread-posix.c, softmmu/cpus.c: "CPU 0/KVM")."""
    return command.startswith(("CPU ", "qemu", "kvm"))


def usb_minor(device: UsbDevice) -> int | None:
    """Minor number of the usbfs node: (bus-1)*128 + number-1 (Linux drivers/usb/core/hub.c, usb_new_device)."""
    if not (known(device.bus) and known(device.devnum)):
        return None
    return (device.bus - 1) * 128 + device.devnum - 1


def hot_plugged(evidence: Evidence, lines: Sequence[Item], devices: Sequence[UsbDevice]) -> list[Item]:
    """Devices that a hypervisor holds and no configuration line names: attached while it ran."""
    if not known(evidence.handles) or not known(evidence.qemu):
        return []
    found = []
    # A line without a selector, or with the name of a node that was not resolved, may be the one of any device.
    wild = {
        item.process.pid
        for item in lines
        if item.process is not None and item.kind == "device" and (item.selector == "nothing" or item.unresolved)
    }
    for device in devices:
        if is_plainly_other(device) or any(
            matches(item, device) is not False for item in lines if item.kind == "device"
        ):
            continue
        minor = usb_minor(device)
        pids = {one.pid for one in evidence.handles.open if not one.deleted and (one.major, one.minor) == (189, minor)}
        found += [_held(one, device, evidence) for one in evidence.qemu if one.pid in pids - wild]
    return found


def _held(process: QemuProcess, device: UsbDevice, evidence: Evidence) -> Item:
    """The line that a process must have got for a device while it ran."""
    text = "attached while it runs, on no command line" if known(process.usb) else "held, by a line that was not seen"
    return Item(
        vm=vm_name(process),
        manager="libvirt" if process.libvirt is True else "qemu",
        kind="device",
        selector="ids",
        process=process,
        text=text,
        vid=device.vid if known(device.vid) else None,
        pid=device.pid if known(device.pid) else None,
        bus=device.bus if known(device.bus) else None,  # by its number: a twin beside it is another matter
        address=device.devnum if known(device.devnum) else None,
        running=True,
        autostart=None,
        in_live=True,
        in_next=_lasts(process, evidence),
        live_bus=device.bus,
        live_address=device.devnum,
    )


def _lasts(process: QemuProcess, evidence: Evidence) -> bool | UnsetType:
    """Whether the next start has a device that none of the lines names that could be read."""
    if known(evidence.domains):
        domain = next((one for one in evidence.domains if one.name == process.name), None)
        if domain is not None:
            return UNSET if not known(domain.next) else domain.next is None
    plain = process.libvirt is False or (whole(evidence, "domains") and process.libvirt is not True)
    return False if known(process.usb) and plain else UNSET


def maybe_hot_plugged(device: UsbDevice, evidence: Evidence) -> bool:
    """No kernel driver has it, some VM runs or may run, and not every process could be looked into."""
    if known(evidence.handles) and evidence.handles.unread == 0 and whole(evidence, "handles"):
        return False
    no_vm = whole(evidence, "qemu") and not evidence.qemu
    return not device_ttys(device) and not no_vm


def is_held(evidence: Evidence, device: UsbDevice) -> bool:
    """Whether a process was seen to have its node or one of its ttys open."""
    if not known(evidence.handles):
        return False
    own: set[tuple[int | UnsetType, int | UnsetType | None]] = {(189, usb_minor(device))}
    for tty in evidence.ttys if known(evidence.ttys) else []:
        if tty.name in device_ttys(device) and isinstance(tty.node, Node):
            own.add((tty.node.major, tty.node.minor))
    return any(not one.deleted and (one.major, one.minor) in own for one in evidence.handles.open)
