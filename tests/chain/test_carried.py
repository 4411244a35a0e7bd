"""What hangs on a USB controller, told by class."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.carried import carried, mounted
from radiocheck.chain.context import Context, context
from radiocheck.chain.kinds import kind
from radiocheck.evidence.disk import Disk
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice, UsbInterface

from . import machines as m

XHCI = "0000:00:14.0"


def device(name: str, *interfaces: tuple[int, int, int] | str, **change: Any) -> UsbDevice:
    """A device with interfaces of these classes, or with a vendor's class and this driver."""
    made = [
        UsbInterface(name=f"{name}:1.{number}", class_=0xFF, subclass=0, protocol=0, driver=one)
        if isinstance(one, str)
        else UsbInterface(name=f"{name}:1.{number}", class_=one[0], subclass=one[1], protocol=one[2], driver=None)
        for number, one in enumerate(interfaces)
    ]
    words = {"manufacturer": "Lindenhof", "product": "Thing", "serial": None, "vid": "1209", "pid": "7b00"}
    return m.stick(name, **{**words, "interfaces": made, "device_class": 0, **change})


def known(evidence: Evidence) -> Context:
    """The evidence, indexed."""
    return context(evidence, [])


@pytest.mark.parametrize(
    ("interfaces", "word"),
    [
        (((3, 1, 1),), "keyboard"),  # HID 1.11: boot protocols
        (((3, 1, 2),), "mouse"),
        (((3, 1, 1), (3, 1, 2), (3, 0, 0)), "keyboard and mouse"),
        (((3, 0, 0),), "input device"),
        (((8, 6, 0x50),), "disk"),
        (((8, 6, 0x62),), "disk"),
        (((2, 6, 0), (10, 0, 0)), "network adapter"),  # CDC 1.2: ECM
        (((2, 0x0D, 0), (10, 0, 1)), "network adapter"),  # NCM
        (((0xE0, 1, 3), (10, 0, 0)), "network adapter"),  # RNDIS, drivers/net/usb/rndis_host.c
        (("r8152",), "network adapter"),
        (((0xE0, 1, 1),), "Bluetooth radio"),
        (("ftdi_sio",), "serial adapter"),
        (((2, 2, 1), (10, 0, 0)), "serial adapter"),
        (((1, 1, 0), (3, 0, 0)), "sound"),
        (((0x0E, 1, 0),), "camera"),
        ((), "device"),
    ],
)
def test_kinds(interfaces: tuple[tuple[int, int, int] | str, ...], word: str) -> None:
    """By interface class (USB-IF, "USB Class Codes"), by boot protocol, or by the driver."""
    assert kind(device("1-1", *interfaces)) == word


def test_all_that_hangs_on_it() -> None:
    """Behind hubs too; neither hubs nor what is not asked about, nor what hangs on another controller."""
    hub = m.stick("1-1", device_class=9, ports=4)
    keys = device("1-1.3", (3, 1, 1))
    far = device("3-1", (8, 6, 0x50), controller="0000:05:00.0")
    stick = m.stick()
    indexed = known(m.native(usb=[m.root_hub(), stick, hub, keys, far]))
    assert carried(indexed, XHCI, stick) == ["keyboard (Lindenhof Thing at 1-1.3)"]
    assert carried(indexed, "0000:05:00.0") == ["disk (Lindenhof Thing at 3-1)"]
    assert carried(indexed, "0000:06:00.0") == []


def test_disks_say_what_is_mounted() -> None:
    """With the places where the host uses them."""
    shelf = device("1-1", (8, 6, 0x50), serial="S1")
    disks = [
        Disk(name="sdb1", usb="1-1", pci=XHCI, mounts=["/media"]),
        Disk(name="sda2", usb=None, pci="0000:00:17.0", mounts=["/"]),
    ]
    indexed = known(m.native(usb=[m.root_hub(), shelf], disks=disks))
    assert carried(indexed, XHCI) == ["disk (Lindenhof Thing S1, in use: /media)"]
    assert mounted(indexed, {XHCI}) == ["sdb1 (/media)"]
    assert mounted(indexed, {XHCI, "0000:00:17.0"}) == ["sdb1 (/media)", "sda2 (/)"]
    assert mounted(indexed, set()) == []


def test_what_was_not_seen_is_not_left_out() -> None:
    """A device whose controller is not known, or a disk, may be one more: then there is no list."""
    lost = device("1-1", (3, 1, 1), controller=UNSET)
    assert carried(known(m.native(usb=[m.root_hub(), m.stick(), lost])), XHCI) is UNSET
    assert carried(known(m.native(usb=UNSET)), XHCI) is UNSET
    assert mounted(known(m.native()), {XHCI}) is UNSET
    pulled = [Disk(name="sdb1", usb=UNSET, pci=UNSET, mounts=["/"])]
    assert mounted(known(structs.replace(m.native(), disks=pulled)), {XHCI}) is UNSET
