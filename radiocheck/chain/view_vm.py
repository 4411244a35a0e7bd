"""The part of the view that is about virtual machines; see `view.py`."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Struct, UnsetType

from .needs import APPS, DISKS, FREE, FREE_HELD, HANDLES, LOG, MONITORS, PCI, VM_LOG, VMS, needs

NEXT = needs("usb", "domains", "qemu", "controllers", "links")


class AssignmentFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of a VM's configuration that concerns this adapter."""

    vm: Annotated[str | UnsetType, VMS] = UNSET
    manager: Annotated[str | UnsetType, VMS] = UNSET  # libvirt, qemu, xen
    kind: Annotated[str | UnsetType, VMS] = UNSET  # device, controller, forwarded
    # ids, address, ids-address, port, port-any-bus, node, nothing, controller, tty
    selector: Annotated[str | UnsetType, VMS] = UNSET
    text: Annotated[str | UnsetType, VMS] = UNSET  # as it stands in the configuration
    running: Annotated[bool | UnsetType, VMS] = UNSET
    started_s: Annotated[int | UnsetType, needs("qemu")] = UNSET  # seconds since the VM was started
    autostart: Annotated[bool | UnsetType | None, VMS] = UNSET  # null: this manager has none
    in_live: Annotated[bool | UnsetType, VMS] = UNSET
    in_next: Annotated[bool | UnsetType, VMS] = UNSET
    had_once: Annotated[bool | UnsetType, VMS] = UNSET  # a paste shows that it was attached to an earlier run only
    next_bare: Annotated[bool | UnsetType, VMS] = UNSET  # a paste shows that the next start has no device of the host's
    usb_bus: Annotated[bool | UnsetType, VMS] = UNSET
    matches: Annotated[int | UnsetType, needs("usb", "domains", "qemu")] = UNSET  # present devices it picks out
    picks_hub: Annotated[bool | UnsetType, needs("usb")] = UNSET  # what it picks out is a hub
    picks_this: Annotated[bool | UnsetType, needs("usb", "domains", "qemu")] = UNSET
    picks_other: Annotated[str | UnsetType | None, needs("usb", "domains", "qemu")] = UNSET  # what it picks instead
    misread: Annotated[bool | UnsetType, needs("usb")] = UNSET  # it names this adapter by IDs without 0x: other numbers
    guessed: Annotated[bool | UnsetType, VMS] = UNSET  # tied to this adapter by elimination, not by a match
    pinned: Annotated[bool | UnsetType, VMS] = UNSET  # by a device number, which changes at every enumeration
    next_pinned: Annotated[bool | UnsetType, VMS] = UNSET  # the next start is pinned
    next_node: Annotated[str | UnsetType | None, VMS] = UNSET  # "3:4", bus and number that the next start asks for
    live_pinned: Annotated[bool | UnsetType, VMS] = UNSET  # the running VM is bound to one device number
    live_current: Annotated[bool | UnsetType, needs("usb", "domains", "qemu")] = UNSET  # …which is the one of now
    live_node: Annotated[str | UnsetType | None, VMS] = UNSET  # "3:4", bus and number the running VM is bound to
    # A paste's log saw the running VM's number leave its port, and the adapter come back to it under another number;
    # nothing shows that a VM has it since. False on a live machine, where it is seen who has it.
    left_behind: Annotated[bool | UnsetType, needs("usb", "kernel_log")] = UNSET
    missing: Annotated[bool | UnsetType, VMS] = UNSET  # optional, and absent when the VM started
    holds: Annotated[bool | UnsetType, HANDLES] = UNSET  # its process has the current node open
    holds_other: Annotated[str | UnsetType | None, HANDLES] = UNSET  # another device that this line picks and it holds
    dead: Annotated[bool | UnsetType, HANDLES] = UNSET  # its process holds a node that is gone
    attached: Annotated[bool | UnsetType, MONITORS] = UNSET  # QEMU says that an adapter is behind this line
    paused: Annotated[bool | UnsetType, MONITORS] = UNSET  # QEMU says that the guest stands still
    may_open: Annotated[bool | UnsetType, needs("qemu", "usb_nodes")] = UNSET
    refused: Annotated[int | UnsetType, VM_LOG] = UNSET  # "may not open the node" lines since its start
    errors: Annotated[list[str] | UnsetType, VM_LOG] = UNSET  # what it or libvirt said, newest last
    # What a paste says that libvirt or QEMU said against this line: a kind of radiocheck.sources.vm_log.KINDS; null:
    # nothing, or a live machine, where such words may be old.
    start_error: Annotated[str | UnsetType | None, VM_LOG] = UNSET
    start_error_words: Annotated[str | UnsetType, VM_LOG] = UNSET
    start_error_vm: Annotated[str | UnsetType | None, VM_LOG] = UNSET  # the VM that has the device, by these words
    re_enumerated: Annotated[int | UnsetType, LOG] = UNSET  # enumerations of this adapter since the VM started
    startup: Annotated[str | UnsetType | None, VMS] = UNSET  # libvirt's startupPolicy
    as_user: Annotated[str | UnsetType | None, needs("qemu")] = UNSET  # system account its process runs as
    as_group: Annotated[str | UnsetType | None, needs("qemu", "ttys")] = UNSET  # a system group its process runs with
    started_after_boot_s: Annotated[int | UnsetType, needs("qemu", "host")] = UNSET  # VM's start, seconds after boot
    # The VM started before the adapter was on the bus for the first time since the host's boot.
    before_adapter: Annotated[bool | UnsetType, needs("qemu", "usb", "kernel_log")] = UNSET
    adapter_late_s: Annotated[int | UnsetType | None, needs("qemu", "usb", "kernel_log")] = UNSET  # …by so much
    # Seconds from libvirt's failed autostart, which did not find the adapter, to its arrival; null: did not fail so.
    late_by_s: Annotated[int | UnsetType | None, needs("vm_messages", "kernel_log")] = UNSET
    # What the next restart does: comes-back, only-if-alone, by-chance, does-not-come-back, refused, not-started.
    next_vm_start: Annotated[str | UnsetType, NEXT] = UNSET  # the VM is stopped and started
    next_vm_start_why: Annotated[str | UnsetType, NEXT] = UNSET
    next_host_start: Annotated[str | UnsetType, NEXT] = UNSET  # the host is restarted
    next_host_start_why: Annotated[str | UnsetType, NEXT] = UNSET
    tty_path: Annotated[str | UnsetType | None, VMS] = UNSET
    tty_stable: Annotated[bool | UnsetType, VMS] = UNSET  # named by a link under /dev/serial
    tty_open: Annotated[bool | UnsetType, HANDLES] = UNSET
    controller: Annotated[str | UnsetType | None, VMS] = UNSET
    controller_exists: Annotated[bool | UnsetType, PCI] = UNSET
    controller_driver: Annotated[str | UnsetType | None, PCI] = UNSET
    controller_vfio: Annotated[bool | UnsetType, PCI] = UNSET
    controller_managed: Annotated[bool | UnsetType, VMS] = UNSET  # libvirt unbinds the host's driver at the start
    controller_override: Annotated[str | UnsetType | None, PCI] = UNSET  # sysfs driver_override
    controller_reserved: Annotated[str | UnsetType | None, PCI] = UNSET  # setting that means it for vfio-pci, its file
    controller_node: Annotated[str | UnsetType, PCI] = UNSET  # libvirt's name of it, "pci_0000_00_14_0"
    controller_bare: Annotated[bool | UnsetType, needs("controllers", "usb")] = UNSET  # host has it, no adapter on it
    controller_carries: Annotated[list[str] | UnsetType, needs("controllers", "usb")] = UNSET  # what else is on it
    controller_mounts: Annotated[list[str] | UnsetType, DISKS] = UNSET  # disks in use that leave the host with it
    controller_held: Annotated[bool | UnsetType, HANDLES] = UNSET
    elsewhere: Annotated[list[str] | UnsetType, FREE] = UNSET  # adapters no VM asks for, on other PCI controllers
    elsewhere_idle: Annotated[bool | UnsetType, FREE_HELD] = UNSET  # …it is the only one, and nothing holds it
    reset_hangs: Annotated[bool | UnsetType, needs("controllers", "host")] = UNSET  # chip hangs, kernel too old to know
    iommu: Annotated[bool | UnsetType, PCI] = UNSET
    group_others: Annotated[list[str] | UnsetType, PCI] = UNSET  # members of its group that the host still drives
    group_vital: Annotated[list[str] | UnsetType, PCI] = UNSET  # disks and network among them, given to the VM or not
    group_with: Annotated[str | UnsetType | None, needs("controllers", "domains", "qemu")] = UNSET  # other VM in it now


class HandoverFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who holds it at this moment, over all VMs."""

    hypervisors: Annotated[int | UnsetType, HANDLES] = UNSET  # hypervisor processes with the current node open
    stranger: Annotated[str | UnsetType | None, needs("handles", "domains", "qemu")] = UNSET  # VM without assignment
    running: Annotated[int | UnsetType, VMS] = UNSET  # running VMs whose configuration asks for it
    assigned: Annotated[int | UnsetType, VMS] = UNSET  # VMs whose configuration asks for it
    # A paste's words of a viewer that is gone, through which a VM without a line had it; null: none, or a live machine.
    redirection_ended: Annotated[str | UnsetType | None, VM_LOG] = UNSET
    # The kernel's words when another driver or program kept an interface from a VM's process; null: it said none.
    kept_words: Annotated[str | UnsetType | None, needs("kernel_log")] = UNSET
    # The words of a VM's kernel that cannot set up what the pasted log of its host has; null: none.
    guest_words: Annotated[str | UnsetType | None, APPS] = UNSET
