"""One line of a VM's configuration that gives it a USB device, a controller or a tty."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET, Struct, UnsetType

from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import QemuProcess


class Item(Struct, frozen=True):
    """One assignment as configured.  Numbers that pin are of the next start, `live_*` of the running VM."""

    vm: str
    manager: str  # libvirt, qemu, xen
    kind: str  # device, controller, forwarded
    selector: str
    text: str
    vid: str | None = None
    pid: str | None = None
    bus: int | None = None
    address: int | None = None
    path: str | None = None
    controller: str | None = None
    tty: str | None = None
    running: bool | UnsetType = UNSET
    autostart: bool | UnsetType | None = UNSET
    in_live: bool | UnsetType = UNSET
    in_next: bool | UnsetType = UNSET
    usb_bus: bool | UnsetType = UNSET
    live_bus: int | UnsetType | None = UNSET
    live_address: int | UnsetType | None = UNSET
    missing: bool = False
    startup: str | None = None  # libvirt's startupPolicy
    managed: bool | UnsetType = UNSET  # of a controller: libvirt binds it to VFIO itself
    process: QemuProcess | None = None
    named: bool = True  # False: `vm` is a makeshift, since the configuration that was given names no VM
    once: bool = False  # an earlier run of the VM had it, in a paste, and no configuration names it
    by_error: bool = False  # known from a refusal of it, in a paste
    attached: bool | UnsetType = UNSET  # an adapter is behind it, says QEMU's monitor
    paused: bool | UnsetType = UNSET  # the guest stands still, says QEMU's monitor

    @property
    def pinned(self) -> bool:
        """Selected by a device number, which changes at every enumeration."""
        # An error that names a device by its node does not tell by what the configuration picks it.
        told = not (self.by_error and self.selector == "node")
        return self.selector in ("address", "node", "ids-address") and not self.unresolved and told

    @property
    def unresolved(self) -> bool:
        """Names a node by a path that is not its own, such as a udev link: what it picks was not seen."""
        return self.selector == "node" and self.address is None


def matches(item: Item, device: UsbDevice) -> bool | UnsetType:
    """As `picks`; absent when a deciding field of the device was not seen."""
    if item.selector == "nothing" or item.unresolved:
        return False
    pairs = (
        (item.vid, device.vid),
        (item.pid, device.pid),
        (item.bus, device.bus),
        (item.address, device.devnum),
        (item.path, device.path),
    )
    asked = [(wanted, has) for wanted, has in pairs if wanted is not None]
    if any(has is not UNSET and has != wanted for wanted, has in asked):
        return False
    return True if all(has is not UNSET for _, has in asked) else UNSET


def picks(item: Item, device: UsbDevice) -> bool:
    """Whether a selector picks out a present device (host.c `usb_host_auto_check`, virhostdev.c)."""
    if item.selector == "nothing" or item.unresolved:
        return False
    return (
        (item.vid is None or item.vid == device.vid)
        and (item.pid is None or item.pid == device.pid)
        and (item.bus is None or item.bus == device.bus)
        and (item.address is None or item.address == device.devnum)
        and (item.path is None or item.path == device.path)
    )


def picked(item: Item, devices: Sequence[UsbDevice]) -> list[UsbDevice]:
    """All present devices that it picks out."""
    return [device for device in devices if picks(item, device)]
