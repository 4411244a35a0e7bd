"""Configuration that can be pasted, by name: what a rule's remedy may ask for with `snippet`."""

from __future__ import annotations

from . import snippets_libvirt as libvirt
from . import snippets_qemu as qemu
from . import snippets_udev as udev
from . import snippets_xen as xen
from .snippet import Facts, Made, Snippet

SNIPPETS = {
    "libvirt-usb": Snippet("the adapter as a <hostdev>, by what is unique here", libvirt.usb),
    "libvirt-usb-number": Snippet("the adapter as a <hostdev>, by its device number of now", libvirt.usb_number),
    "libvirt-usb-no-reset": Snippet("the same <hostdev>, whose guest may not reset the hardware", libvirt.usb_no_reset),
    "libvirt-controller": Snippet("the adapter's whole PCI controller as a <hostdev>", libvirt.controller),
    "libvirt-serial": Snippet("the adapter's tty as a <serial> by its stable name", libvirt.serial),
    "qemu-usb": Snippet("the adapter as a `-device usb-host`, by what is unique here", qemu.usb),
    "qemu-usb-socket": Snippet("what is in the adapter's socket as a `-device usb-host`", qemu.usb_socket),
    "qemu-usb-no-reset": Snippet("the same `-device usb-host`, which passes no reset on", qemu.usb_no_reset),
    "qemu-controller": Snippet("the adapter's whole PCI controller as a `-device vfio-pci`", qemu.controller),
    "qemu-serial": Snippet("the adapter's tty as a serial port by its stable name", qemu.serial),
    "xen-usb": Snippet("the adapter as a line of xl.cfg, by its device number of now", xen.usb),
    "xen-controller": Snippet("the adapter's whole PCI controller as a line of xl.cfg", xen.controller),
    "udev-tty-group": Snippet("a udev rule: its tty for the group of serial ports", udev.tty_group),
    "udev-tty-own-group": Snippet("a udev rule: its tty for a group of its own", udev.tty_own_group),
    "udev-usb-rights": Snippet("a udev rule: its USB node for the account or group that QEMU has", udev.usb_rights),
    "udev-no-modem": Snippet("a udev rule: the modem prober leaves it", udev.no_modem),
    "udev-no-braille": Snippet("a udev rule: the braille daemon leaves it", udev.no_braille),
}


def make(name: str, facts: Facts) -> Made | None:
    """The configuration of that name; None when it cannot be made from what is known."""
    return SNIPPETS[name].make(facts)
