"""What processes hold of a device, as far as it tells of a VM that has it."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice

from .adapters import is_plainly_other
from .item import Item, picked
from .items_qemu import vm_name


def device_ttys(device: UsbDevice) -> list[str]:
    """The ttys of all interfaces of a device."""
    if not known(device.interfaces):
        return []
    return [name for interface in device.interfaces if known(interface.ttys) for name in interface.ttys]


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
    wild = {item.process.pid for item in lines if item.selector == "nothing" and item.process is not None}
    for device in devices:
        if is_plainly_other(device) or any(picked(item, [device]) for item in lines if item.kind == "device"):
            continue
        for handle in evidence.handles.open:
            if handle.deleted or handle.major != 189 or handle.minor != usb_minor(device) or handle.pid in wild:
                continue
            process = next((one for one in evidence.qemu if one.pid == handle.pid), None)
            if process is not None:
                found.append(
                    Item(
                        vm=vm_name(process),
                        manager="qemu",
                        kind="device",
                        selector="ids",
                        process=process,
                        text="attached while it runs, on no command line",
                        vid=device.vid if known(device.vid) else None,
                        pid=device.pid if known(device.pid) else None,
                        running=True,
                        autostart=None,
                        in_live=True,
                        in_next=False,
                        live_bus=device.bus,
                        live_address=device.devnum,
                    )
                )
    return found


def maybe_hot_plugged(device: UsbDevice, evidence: Evidence) -> bool:
    """No kernel driver has it, some VM runs or may run, and not every process could be looked into."""
    if known(evidence.handles) and evidence.handles.unread == 0:
        return False
    no_vm = known(evidence.qemu) and not evidence.qemu
    return not device_ttys(device) and not no_vm
