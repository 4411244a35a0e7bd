"""Which device a line of a VM's configuration means, where it picks out another one or none."""

from __future__ import annotations

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice

from .held import device_ttys


def lacks_driver(device: UsbDevice, evidence: Evidence) -> bool:
    """Whether it has no tty for want of a driver: no interface has one, or a module was looked for in vain."""
    parts = device.interfaces if known(device.interfaces) else []
    if device_ttys(device) or any(known(part.driver) and part.driver for part in parts):
        return False
    lost = known(evidence.modules) and any(one.available is False for one in evidence.modules)
    return lost or (bool(parts) and all(part.driver is None for part in parts))
