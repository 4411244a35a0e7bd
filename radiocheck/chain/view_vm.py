"""The part of the view that is about virtual machines; see `view.py`."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Struct, UnsetType

from .needs import HANDLES, LOG, PCI, VM_LOG, VMS, needs


class AssignmentFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of a VM's configuration that concerns this adapter."""

    vm: Annotated[str | UnsetType, VMS] = UNSET
    manager: Annotated[str | UnsetType, VMS] = UNSET  # libvirt, qemu
    kind: Annotated[str | UnsetType, VMS] = UNSET  # device, controller, forwarded
    # ids, address, ids-address, port, port-any-bus, node, nothing, controller, tty
    selector: Annotated[str | UnsetType, VMS] = UNSET
    text: Annotated[str | UnsetType, VMS] = UNSET  # as it stands in the configuration
    running: Annotated[bool | UnsetType, VMS] = UNSET
    started_s: Annotated[int | UnsetType, needs("qemu")] = UNSET  # seconds since the VM was started
    autostart: Annotated[bool | UnsetType | None, VMS] = UNSET  # null: this manager has none
    in_live: Annotated[bool | UnsetType, VMS] = UNSET
    in_next: Annotated[bool | UnsetType, VMS] = UNSET
    usb_bus: Annotated[bool | UnsetType, VMS] = UNSET
    matches: Annotated[int | UnsetType, needs("usb", "domains", "qemu")] = UNSET  # present devices it picks out
    picks_this: Annotated[bool | UnsetType, needs("usb", "domains", "qemu")] = UNSET
    picks_other: Annotated[str | UnsetType | None, needs("usb", "domains", "qemu")] = UNSET  # what it picks instead
    guessed: Annotated[bool | UnsetType, VMS] = UNSET  # tied to this adapter by elimination, not by a match
    pinned: Annotated[bool | UnsetType, VMS] = UNSET  # by a device number, which changes at every enumeration
    next_pinned: Annotated[bool | UnsetType, VMS] = UNSET  # the next start is pinned
    live_pinned: Annotated[bool | UnsetType, VMS] = UNSET  # the running VM is bound to one device number
    live_current: Annotated[bool | UnsetType, needs("usb", "domains", "qemu")] = UNSET  # …which is the one of now
    live_node: Annotated[str | UnsetType | None, VMS] = UNSET  # "3:4", bus and number the running VM is bound to
    missing: Annotated[bool | UnsetType, VMS] = UNSET  # optional, and absent when the VM started
    holds: Annotated[bool | UnsetType, HANDLES] = UNSET  # its process has the current node open
    holds_other: Annotated[str | UnsetType | None, HANDLES] = UNSET  # another device that this line picks and it holds
    dead: Annotated[bool | UnsetType, HANDLES] = UNSET  # its process holds a node that is gone
    may_open: Annotated[bool | UnsetType, needs("qemu", "usb_nodes")] = UNSET
    refused: Annotated[int | UnsetType, VM_LOG] = UNSET  # "may not open the node" lines since its start
    errors: Annotated[list[str] | UnsetType, VM_LOG] = UNSET  # what it or libvirt said, newest last
    re_enumerated: Annotated[int | UnsetType, LOG] = UNSET  # enumerations of this adapter since the VM started
    tty_path: Annotated[str | UnsetType | None, VMS] = UNSET
    tty_stable: Annotated[bool | UnsetType, VMS] = UNSET  # named by a link under /dev/serial
    tty_open: Annotated[bool | UnsetType, HANDLES] = UNSET
    controller: Annotated[str | UnsetType | None, VMS] = UNSET
    controller_exists: Annotated[bool | UnsetType, PCI] = UNSET
    controller_driver: Annotated[str | UnsetType | None, PCI] = UNSET
    controller_vfio: Annotated[bool | UnsetType, PCI] = UNSET
    iommu: Annotated[bool | UnsetType, PCI] = UNSET
    group_others: Annotated[list[str] | UnsetType, PCI] = UNSET  # members of its group that the host still drives
    controller_held: Annotated[bool | UnsetType, HANDLES] = UNSET


class HandoverFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who holds it at this moment, over all VMs."""

    hypervisors: Annotated[int | UnsetType, HANDLES] = UNSET  # hypervisor processes with the current node open
    stranger: Annotated[str | UnsetType | None, needs("handles", "domains", "qemu")] = UNSET  # VM without assignment
    running: Annotated[int | UnsetType, VMS] = UNSET  # running VMs whose configuration asks for it
    assigned: Annotated[int | UnsetType, VMS] = UNSET  # VMs whose configuration asks for it
