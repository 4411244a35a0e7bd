"""Marks on facts: the evidence that each is made of, so that an unknown rule can say what would settle it."""

from __future__ import annotations

from msgspec import Meta


def needs(*evidence: str) -> Meta:
    """The evidence fields that a fact is made of."""
    return Meta(extra={"needs": evidence})


USB = needs("usb")
PORTS = needs("ports")
LOG = needs("kernel_log")
TTYS = needs("ttys")
LINKS = needs("links")
USERS = needs("users")
HANDLES = needs("handles")
SERVICES = needs("services")
MODULES = needs("modules")
VMS = needs("domains", "qemu")
VM_LOG = needs("vm_messages")
MONITORS = needs("monitors")
PCI = needs("controllers")
DISKS = needs("controllers", "disks")
FREE = needs("controllers", "usb", "domains", "qemu")
FREE_HELD = needs("controllers", "usb", "domains", "qemu", "handles")
CONTAINER = needs("host", "container_nodes")
GUEST = needs("guest")
GUEST_HOST = needs("guest.host")
GUEST_USB = needs("guest.usb")
GUEST_LOG = needs("guest.kernel_log")
AROUND = needs("usb", "ports")
SITE = needs("site")  # what a person says of the air: no part of the evidence
APPS = needs("app_messages")
READINGS = needs("air_readings")
