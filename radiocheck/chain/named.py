"""Which device a person's word means."""

from __future__ import annotations

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice

from .held import device_ttys


def names_device(text: str, device: UsbDevice, evidence: Evidence) -> bool:
    """Whether a person's word names this device: serial number, by-id name, tty, port path, VID:PID."""
    if text in (device.serial, device.name, device.path) or text.casefold() == f"{device.vid}:{device.pid}":
        return True
    ttys = device_ttys(device)
    word = text.rpartition("/")[2]
    if word in ttys:
        return True
    links = evidence.links if known(evidence.links) else []
    return any(link.path.rpartition("/")[2] == word and link.target in ttys for link in links)
