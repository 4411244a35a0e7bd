"""Which USB devices are adapters that deserve a chain."""

from __future__ import annotations

import re
from collections.abc import Iterable

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice, UsbInterface

# Modules under drivers/usb/serial of Linux 6.1 (its Makefile), and the CDC ACM class driver.
SERIAL_MODULES = frozenset(
    """
    aircable ark3116 belkin_sa cdc_acm ch341 cp210x cyberjack cypress_m8 digi_acceport f81232 f81534 ftdi_sio
    garmin_gps io_edgeport io_ti ipaq ipw ir_usb iuu_phoenix keyspan keyspan_pda kl5kusb105 kobil_sct mct_u232
    metro_usb mos7720 mos7840 mxuport navman omninet opticon option oti6858 pl2303 qcaux qcserial quatech2
    safe_serial sierra spcp8x5 ssu100 symbolserial ti_usb_3410_5052 upd78f0730 usb_debug usb_serial_simple
    usb_wwan usbserial visor whiteheat wishbone_serial xr_serial xsens_mt
    """.split()
)

# Vendors whose products are nearly always USB serial bridges or boards (usb.ids); a hint only.
BRIDGE_VENDORS = frozenset({"0403", "067b", "10c4", "1a86"})

# Words of the trade in a product string that make an undriven vendor-specific device a likely adapter.
HINT = re.compile(
    r"802\.15\.4|zig.?bee|thread|coordinator|\bmesh\b|uart|serial|\bradio\b|\bdongle\b|\bstick\b|\brcp\b|\bncp\b", re.I
)

# Interface classes (USB-IF, "USB Class Codes") that show a device to be something else.
OTHER_CLASSES = frozenset({0x01, 0x03, 0x06, 0x07, 0x08, 0x09, 0x0B, 0x0E, 0x10, 0xE0})
CDC, CDC_DATA, VENDOR = 0x02, 0x0A, 0xFF
ACM = 0x02


# Names of sysfs (drivers/usb/core/usb.c, usb_alloc_dev).  A device that only `lsusb` tells of has none.
PLACE = re.compile(r"usb\d+|\d+-\d+(?:\.\d+)*")


def is_placed(name: str) -> bool:
    """Whether a device's name is the kernel's, so that log lines and ports can be told to be its own."""
    return PLACE.fullmatch(name) is not None


def is_hub(device: UsbDevice) -> bool:
    """Hubs and root hubs."""
    return device.device_class == 9 or device.name.startswith("usb") or (known(device.ports) and device.ports > 0)


def serial_interfaces(device: UsbDevice, evidence: Evidence) -> list[UsbInterface]:
    """The interfaces that carry, or could carry, serial data."""
    if not known(device.interfaces):
        return []
    matched: set[str] = set()
    if known(evidence.modules):
        for module in evidence.modules:
            if module.name in SERIAL_MODULES and known(module.interfaces):
                matched.update(module.interfaces)
    found = [interface for interface in device.interfaces if _serial(interface) or interface.name in matched]
    if found:
        return found
    if device.vid in BRIDGE_VENDORS or hinted(device):
        return [interface for interface in device.interfaces if interface.class_ in (VENDOR, CDC, CDC_DATA)]
    return []


def _serial(interface: UsbInterface) -> bool:
    if known(interface.ttys) and interface.ttys:
        return True
    if interface.class_ == CDC and interface.subclass == ACM:
        return True
    driver = interface.driver
    return isinstance(driver, str) and driver.replace("-", "_") in SERIAL_MODULES


def hinted(device: UsbDevice) -> bool:
    """Whether the device's own words sound like an adapter."""
    words = " ".join(word for word in (device.manufacturer, device.product, device.called) if isinstance(word, str))
    return bool(HINT.search(words))


def is_adapter(device: UsbDevice, evidence: Evidence, had_tty: Iterable[str]) -> bool:
    """A device that is, by what it shows now, a USB serial adapter.

    `had_tty`: device names that the kernel log has seen with a serial tty.
    """
    if is_hub(device):
        return False
    if serial_interfaces(device, evidence):
        return True
    if known(device.interfaces) and device.interfaces:
        return False
    # Unconfigured, blocked or exported: no interface tells; only history and its own words do.
    return device.name in set(had_tty) or device.vid in BRIDGE_VENDORS or device.device_class == CDC or hinted(device)


def is_plainly_other(device: UsbDevice) -> bool:
    """A device that its interfaces show to be a disk, a keyboard, a camera …"""
    if is_hub(device):
        return True
    if not known(device.interfaces) or not device.interfaces:
        return False
    return all(interface.class_ in OTHER_CLASSES for interface in device.interfaces)


def label(device: UsbDevice) -> str:
    """A name for people: product and serial number, else the IDs."""
    product = device.product if isinstance(device.product, str) else None
    maker = device.manufacturer if isinstance(device.manufacturer, str) else None
    serial = device.serial if isinstance(device.serial, str) else None
    ids = f"{device.vid}:{device.pid}" if known(device.vid) and known(device.pid) else ""
    words = product or ids
    if maker and product and maker.casefold() not in product.casefold():
        words = f"{maker} {product}"
    if product is None:
        words = f"USB device {ids}" if ids else "a USB device"
    return f"{words} {serial}" if serial else f"{words} at {device.name}"


def has_by_id(device: UsbDevice, path: str) -> bool:
    """Whether a path under /dev/serial/by-id is one of its names, by what it says of itself.

    systemd, src/udev/udev-builtin-usb_id.c: `usb-MAKER_PRODUCT_SERIAL-ifNN`, blanks and odd signs as underscores.
    """
    strings = (device.manufacturer, device.product, device.serial)
    words = [re.sub(r"\s+", "_", text.strip()) for text in strings if isinstance(text, str) and text.strip()]
    stem = "_".join(re.sub(r"[^0-9A-Za-z#+.:=@_-]", "_", word) for word in words)
    return len(words) == len(strings) and path.startswith(f"/dev/serial/by-id/usb-{stem}-if")
