"""What a USB device is, in words for who may lose it."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.disk import Disk
from radiocheck.evidence.usb import UsbDevice, UsbInterface

from .adapters import BRIDGE_VENDORS, SERIAL_MODULES, label

# Interface classes (USB-IF, "USB Class Codes") in words; the order is that of the telling.
_CLASSES = {
    0x0E: "camera",
    0x01: "sound",
    0x07: "printer",
    0x0B: "card reader",
    0x06: "still camera",
    0x03: "input device",
}
_NETWORK = frozenset({0x06, 0x0C, 0x0D, 0x0E})  # CDC subclasses ECM, EEM, NCM, MBIM (USB-IF, CDC 1.2)
# Modules under drivers/net/usb of Linux 6.1 (its Makefile) for chips with a class of their maker's.
_NETWORK_DRIVERS = frozenset(
    """
    aqc111 asix ax88179_178a cdc_eem cdc_ether cdc_mbim cdc_ncm ch9200 dm9601 hso huawei_cdc_ncm ipheth kalmia kaweth
    lan78xx mcs7830 pegasus qmi_wwan r8152 r8153_ecm rndis_host rtl8150 smsc75xx smsc95xx sr9700 sr9800
    """.split()
)


def kind(device: UsbDevice) -> str:
    """What it is, by its interfaces and their drivers."""
    interfaces = device.interfaces if known(device.interfaces) else []
    words = [word for word in ("keyboard", "mouse", "disk", "network adapter") if _has(word, interfaces)]
    if words:
        return " and ".join(words)
    classes = {one.class_ for one in interfaces}
    drivers = {one.driver.replace("-", "_") for one in interfaces if isinstance(one.driver, str)}
    if any((one.class_, one.subclass, one.protocol) == (0xE0, 0x01, 0x01) for one in interfaces):
        return "Bluetooth radio"
    if drivers & SERIAL_MODULES or (0x02 in classes and not drivers) or device.vid in BRIDGE_VENDORS:
        return "serial adapter"
    return next((word for number, word in _CLASSES.items() if number in classes), "device")


def is_network(one: UsbInterface) -> bool:
    """Whether it carries network packets, by its class or its driver."""
    rndis = (one.class_, one.subclass, one.protocol) == (0xE0, 0x01, 0x03)
    driver = one.driver.replace("-", "_") if isinstance(one.driver, str) else ""
    return rndis or (one.class_ == 0x02 and one.subclass in _NETWORK) or driver in _NETWORK_DRIVERS


def _has(word: str, interfaces: list[UsbInterface]) -> bool:
    return any(_is(word, one) for one in interfaces)


def _is(word: str, one: UsbInterface) -> bool:
    """HID boot protocols 1 and 2 (USB-IF, HID 1.11, 4.2 and 4.3); the rest by class or driver."""
    if word == "disk":
        return one.class_ == 0x08
    if word == "network adapter":
        return is_network(one)
    return one.class_ == 0x03 and one.protocol == {"keyboard": 1, "mouse": 2}[word]


def in_words(device: UsbDevice, disks: Sequence[Disk]) -> str:
    """Its kind, its name, and what of it the machine has in use."""
    used = [place for disk in disks if disk.usb == device.name for place in disk.mounts]
    mounts = f", in use: {', '.join(dict.fromkeys(used))}" if used else ""
    return f"{kind(device)} ({label(device)}{mounts})"
