"""What hangs on a USB controller: what the host would lose with it."""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import UsbDevice

from .context import Context


def carried(context: Context, address: str, *without: UsbDevice) -> list[str] | UnsetType:
    """Present devices on a controller, however many hubs are between, as words; absent when not all were seen.

    `without`: devices that are not asked about.
    """
    if not known(context.devices) or not context.whole("usb"):
        return UNSET
    names = {device.name for device in without}
    if any(name not in names for name, _ in context.on_controllers.get(UNSET, [])):
        return UNSET
    return [words for name, words in context.on_controllers.get(address, []) if name not in names]


def mounted(context: Context, functions: set[str | None]) -> list[str] | UnsetType:
    """File systems and swap of the host on disks behind these PCI functions, as words."""
    disks = context.evidence.disks
    if not known(disks) or not context.whole("disks"):
        return UNSET
    if any(not known(disk.pci) for disk in disks):
        return UNSET
    return [
        f"{disk.name} ({', '.join(disk.mounts)})" for disk in disks if disk.pci is not None and disk.pci in functions
    ]
