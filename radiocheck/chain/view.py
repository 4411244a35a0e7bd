"""One adapter's path as rules see it: flat, typed facts, derived from evidence.

Every field is absent until somebody looked.  `needs` names the evidence that a field
is made of; an unknown rule is explained with it.  Lists may hold an element without
any field: it stands for what could not be seen, so that `exists` over it is unknown
instead of false.  Numbers are whole; units are in the names.
"""

from __future__ import annotations

from typing import Annotated, Any

from msgspec import UNSET, Struct, UnsetType

from .needs import (
    APPS,
    CONTAINER,
    DISKS,
    HANDLES,
    LINKS,
    LOG,
    MODULES,
    PCI,
    PORTS,
    SERVICES,
    TTYS,
    USB,
    USERS,
    VMS,
    needs,
)
from .view_air import AirFacts, LinkFacts, NeighbourFacts, OverlapFacts
from .view_guest import GuestFacts
from .view_radio import RadioFacts
from .view_vm import AssignmentFacts, HandoverFacts


class HostFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The machine."""

    guest: Annotated[bool | UnsetType, needs("host")] = UNSET
    inside: Annotated[bool | UnsetType, needs("host")] = UNSET  # a VM that has the adapter from its host
    pasted: bool = False  # it is known from a text that somebody pasted, and not from a capture
    container: Annotated[bool | UnsetType, needs("host")] = UNSET
    udev: Annotated[bool | UnsetType, needs("host")] = UNSET
    uptime_s: Annotated[int | UnsetType, needs("host")] = UNSET
    libvirt_names_ports: Annotated[bool | UnsetType, needs("libvirt_version")] = UNSET  # in a USB <hostdev>
    user: Annotated[str | UnsetType, USERS] = UNSET  # whose rights count on the native route


class AdapterFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which adapter, and what else is like it."""

    label: str | UnsetType = UNSET
    present: Annotated[bool | UnsetType, USB] = UNSET
    known_by: str | UnsetType = UNSET  # bus, configuration, log, port
    vid: Annotated[str | UnsetType | None, USB] = UNSET
    pid: Annotated[str | UnsetType | None, USB] = UNSET
    serial: Annotated[str | UnsetType | None, USB] = UNSET
    product: Annotated[str | UnsetType | None, USB] = UNSET
    manufacturer: Annotated[str | UnsetType | None, USB] = UNSET
    name: Annotated[str | UnsetType | None, USB] = UNSET  # sysfs name "1-2"
    bus: Annotated[int | UnsetType | None, USB] = UNSET
    address: Annotated[int | UnsetType | None, USB] = UNSET  # device number of this enumeration
    path: Annotated[str | UnsetType | None, USB] = UNSET  # devpath "1.2"
    hub: Annotated[str | UnsetType | None, USB] = UNSET  # sysfs name of the hub above
    port: Annotated[str | UnsetType | None, PORTS] = UNSET  # port object "usb1-port2"
    controller: Annotated[str | UnsetType | None, USB] = UNSET  # PCI address of the one above; null: not on PCI
    beside: Annotated[list[str] | UnsetType, USB] = UNSET  # what else sits on that controller
    beside_mounts: Annotated[list[str] | UnsetType, DISKS] = UNSET  # disks there that the host has in use
    iommu: Annotated[bool | UnsetType, PCI] = UNSET  # that controller is in an IOMMU group
    group_others: Annotated[list[str] | UnsetType, PCI] = UNSET  # …with functions that the host still drives
    usb_node: Annotated[str | UnsetType | None, USB] = UNSET  # /dev/bus/usb/BBB/DDD
    twins: Annotated[int | UnsetType, USB] = UNSET  # other present devices with the same VID:PID
    free: Annotated[list[str] | UnsetType, needs("usb", "domains", "qemu")] = UNSET  # present adapters no VM asks for
    free_seen: Annotated[bool | UnsetType, needs("usb")] = UNSET  # a paste shows one that its VMs do not ask for
    seen_before: Annotated[bool | UnsetType, LOG] = UNSET  # the log that could be read has seen this identity
    now_is: Annotated[str | UnsetType | None, needs("usb", "kernel_log")] = UNSET  # other identity on its old port
    # IDs under which a paste's log saw it come back by itself, and that no VM asks for; null: none, or a live machine
    turned_into: Annotated[str | UnsetType | None, needs("usb", "kernel_log")] = UNSET


class PowerFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The socket's power."""

    control: Annotated[str | UnsetType, USB] = UNSET  # on, auto
    autosuspend_ms: Annotated[int | UnsetType, USB] = UNSET
    status: Annotated[str | UnsetType, USB] = UNSET
    draws_ma: Annotated[int | UnsetType | None, USB] = UNSET
    over_current: Annotated[int | UnsetType, PORTS] = UNSET  # events on its port since boot
    over_current_logged: Annotated[int | UnsetType, LOG] = UNSET
    sagged: Annotated[int | UnsetType, LOG] = UNSET  # times that the supply of the whole board sagged
    hub_by_bus: Annotated[bool | UnsetType, USB] = UNSET  # sits on an external hub without its own supply
    hub_load_ma: Annotated[int | UnsetType, USB] = UNSET  # what the devices on that hub may draw together
    hub_budget_ma: Annotated[int | UnsetType, USB] = UNSET  # what a bus-powered hub may hand out
    refused: Annotated[bool | UnsetType, LOG] = UNSET  # kernel refused its configuration for want of power
    short: Annotated[int | UnsetType, LOG] = UNSET  # power warnings of its hub


class BusFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Enumeration, and whether it lasts.  Counts are of the last hour before the evidence was taken."""

    authorized: Annotated[bool | UnsetType, USB] = UNSET
    configured: Annotated[bool | UnsetType, USB] = UNSET
    interfaces: Annotated[int | UnsetType, USB] = UNSET
    speed_mbps: Annotated[int | UnsetType, USB] = UNSET
    connected_s: Annotated[int | UnsetType, USB] = UNSET
    port_state: Annotated[str | UnsetType, PORTS] = UNSET
    port_off: Annotated[bool | UnsetType, PORTS] = UNSET
    port_stopped: Annotated[bool | UnsetType, PORTS] = UNSET  # early_stop: ignores new connections
    errors: Annotated[int | UnsetType, LOG] = UNSET  # enumeration errors since it was last enumerated
    gave_up: Annotated[bool | UnsetType, LOG] = UNSET  # "unable to enumerate" is the last word on its port
    failed_port: Annotated[str | UnsetType | None, LOG] = UNSET  # a port on which something fails to enumerate now
    error: Annotated[str | UnsetType | None, LOG] = UNSET  # the newest enumeration error, the kernel's words
    failed_s: Annotated[int | UnsetType | None, LOG] = UNSET  # seconds since that error; null: none
    disconnects: Annotated[int | UnsetType, LOG] = UNSET
    resets: Annotated[int | UnsetType, LOG] = UNSET
    noise: Annotated[int | UnsetType, LOG] = UNSET  # "disabled by hub (EMI?)"
    left_s: Annotated[int | UnsetType | None, LOG] = UNSET  # seconds since it last left the bus; null: never
    controller_dead: Annotated[bool | UnsetType, LOG] = UNSET
    dead_controller: Annotated[str | UnsetType | None, LOG] = UNSET  # PCI address of the one that died; null: not told
    controller_full: Annotated[bool | UnsetType, LOG] = UNSET
    no_interfaces: Annotated[bool | UnsetType, LOG] = UNSET  # kernel found no usable configuration


class InterfaceFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One interface that can carry serial data."""

    name: Annotated[str | UnsetType, USB] = UNSET
    driver: Annotated[str | UnsetType | None, USB] = UNSET
    authorized: Annotated[bool | UnsetType, USB] = UNSET
    tty: Annotated[str | UnsetType | None, USB] = UNSET


class DriverFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who owns the interfaces."""

    owner: Annotated[str | UnsetType, USB] = UNSET  # serial, usbfs, none, other, usbip
    name: Annotated[str | UnsetType | None, USB] = UNSET
    interface: Annotated[str | UnsetType | None, USB] = UNSET  # the first serial interface, "1-2:1.0"
    interfaces: Annotated[list[InterfaceFacts] | UnsetType, USB] = UNSET
    tty: Annotated[str | UnsetType | None, USB] = UNSET
    module: Annotated[str | UnsetType | None, MODULES] = UNSET  # the module that matches; null: none does
    files: Annotated[bool | UnsetType, MODULES] = UNSET  # the running kernel's folder of modules is there
    loaded: Annotated[bool | UnsetType, MODULES] = UNSET
    available: Annotated[bool | UnsetType, MODULES] = UNSET
    blocked_by: Annotated[str | UnsetType | None, MODULES] = UNSET
    # A serial driver's module that a program in a paste looked for in vain; null: none, or a live machine.
    not_found: Annotated[str | UnsetType | None, needs("modules")] = UNSET
    # Interfaces of its maker's own class that nobody drives, beside a network driver's, on a device without any tty.
    unserved: Annotated[int | UnsetType, USB] = UNSET
    as_drive: Annotated[str | UnsetType | None, USB] = UNSET  # what shows, in a paste, that it plays a drive as yet
    erased: Annotated[bool | UnsetType, USB] = (
        UNSET  # in a paste: a bridge whose product ID was set to 0, without a tty
    )
    probe_error: Annotated[str | UnsetType | None, LOG] = UNSET  # the kernel's words since its enumeration
    detached: Annotated[bool | UnsetType, LOG] = UNSET  # driver let go without an unplug, since its enumeration
    foreign: Annotated[str | UnsetType | None, LOG] = UNSET  # program that took the interface through usbfs
    chip_errors: Annotated[int | UnsetType, LOG] = UNSET
    urb_stops: Annotated[int | UnsetType, LOG] = UNSET


class NameFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The names of its tty."""

    tty: Annotated[str | UnsetType | None, TTYS] = UNSET
    by_id: Annotated[str | UnsetType | None, LINKS] = UNSET
    by_path: Annotated[str | UnsetType | None, LINKS] = UNSET
    shared_with: Annotated[list[str] | UnsetType, LINKS] = UNSET  # other ttys that claim the same by-id name
    points_here: Annotated[bool | UnsetType, LINKS] = UNSET
    fell_back: Annotated[bool | UnsetType, needs("kernel_log", "usb")] = UNSET  # strings could not be read
    # A line of a pasted udev rules file that is for this adapter and can never apply: why (operator, no-effect, own,
    # parents, case, refused), the part that shows it, what it should make, and whether that was seen to be missing.
    rule_fault: Annotated[str | UnsetType | None, needs("udev_rules")] = UNSET
    rule_words: Annotated[str | UnsetType | None, needs("udev_rules")] = UNSET
    rule_name: Annotated[str | UnsetType | None, needs("udev_rules")] = UNSET
    rule_missing: Annotated[bool | UnsetType, needs("udev_rules")] = UNSET
    held_number: Annotated[str | UnsetType | None, HANDLES] = UNSET  # vanished tty that a process still holds


class HolderFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A process that holds the tty or the USB node."""

    command: Annotated[str | UnsetType, HANDLES] = UNSET
    pid: Annotated[int | UnsetType, HANDLES] = UNSET
    user: Annotated[str | UnsetType | None, HANDLES] = UNSET
    kind: Annotated[str | UnsetType, HANDLES] = (
        UNSET  # hypervisor, terminal, console, modem-prober, braille, gps, receiver …
    )
    node: Annotated[str | UnsetType, HANDLES] = UNSET  # tty, usb
    container: Annotated[bool | UnsetType, HANDLES] = UNSET
    unit: Annotated[str | UnsetType | None, HANDLES] = UNSET
    same_user: Annotated[bool | UnsetType, HANDLES] = UNSET  # runs as the user in question


class AccessFacts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Rights on the tty node, for the user in question, and who has it open."""

    node: Annotated[str | UnsetType | None, TTYS] = UNSET
    mode: Annotated[str | UnsetType, TTYS] = UNSET  # octal, "660"
    group: Annotated[str | UnsetType | None, TTYS] = UNSET
    serial_group: Annotated[str | UnsetType | None, needs("ttys", "host")] = UNSET  # that serial ports have here
    owner: Annotated[str | UnsetType | None, TTYS] = UNSET
    user_exists: Annotated[bool | UnsetType, USERS] = UNSET
    user_may_open: Annotated[bool | UnsetType, needs("users", "ttys")] = UNSET  # by the account database
    session_may_open: Annotated[bool | UnsetType, needs("users", "ttys")] = UNSET  # with the groups it runs with now
    group_may_open: Annotated[bool | UnsetType, TTYS] = UNSET  # mode (and ACL mask) give the group reading and writing
    user_in_group: Annotated[bool | UnsetType, USERS] = UNSET
    hidden_words: Annotated[str | UnsetType | None, APPS] = UNSET  # a pasted program did not find a node that is listed
    sandbox: Annotated[str | UnsetType | None, needs("services")] = UNSET  # what keeps a pasted service from devices
    rights_shown: Annotated[bool | UnsetType, APPS] = UNSET  # a paste shows the account and the only adapter's node
    app_denied: Annotated[bool | UnsetType, APPS] = UNSET  # a pasted program was refused its node
    app_busy: Annotated[bool | UnsetType, APPS] = UNSET
    # The kernel's driver that has the interface which a pasted program could not claim; null: none is known
    kept_by_driver: Annotated[str | UnsetType | None, needs("app_messages", "usb")] = UNSET
    app_missing: Annotated[str | UnsetType | None, APPS] = UNSET  # the path that a pasted program did not find
    app_positions: Annotated[str | UnsetType | None, APPS] = UNSET  # given to a modem program, and sends positions
    app_words: Annotated[str | UnsetType | None, APPS] = UNSET  # the newest of its words
    holders: Annotated[list[HolderFacts] | UnsetType, HANDLES] = UNSET
    all_holders_seen: Annotated[bool | UnsetType, HANDLES] = UNSET  # true, or absent
    tty_holders: Annotated[int | UnsetType, HANDLES] = UNSET  # different programs that hold the tty now
    console: Annotated[str | UnsetType | None, SERVICES] = UNSET  # serial console unit on this tty
    modem_prober: Annotated[bool | UnsetType, needs("services", "ttys")] = (
        UNSET  # it runs and its policy takes this one
    )
    modem_policy: Annotated[str | UnsetType | None, SERVICES] = UNSET
    gps_matched: Annotated[bool | UnsetType, TTYS] = UNSET  # the GPS daemon's udev rule matched this tty
    braille_matched: Annotated[bool | UnsetType, TTYS] = UNSET
    # Inside a container: what it is given.  Outside: null and false.
    tty_major: Annotated[int | UnsetType | None, CONTAINER] = UNSET  # the number that the kernel has given the tty now
    tty_minor: Annotated[int | UnsetType | None, CONTAINER] = UNSET
    container_path: Annotated[str | UnsetType | None, CONTAINER] = UNSET  # its node there; null: there is none
    container_other: Annotated[str | UnsetType | None, CONTAINER] = UNSET  # node of another adapter that it is given
    container_number: Annotated[str | UnsetType | None, CONTAINER] = UNSET  # the number of that node
    container_old_number: Annotated[bool | UnsetType, CONTAINER] = UNSET  # …which is another one, of an older plug-in
    container_removed: Annotated[bool | UnsetType, CONTAINER] = UNSET  # mounted by itself, and removed outside since
    container_mount: Annotated[str | UnsetType | None, CONTAINER] = UNSET  # tmpfs, devtmpfs …; bind: by itself
    container_nodev: Annotated[bool | UnsetType, CONTAINER] = UNSET  # that mount lets no device node be opened
    container_refused: Annotated[str | UnsetType | None, CONTAINER] = UNSET  # EPERM device list, EACCES mode; null: no
    container_mode_refuses: Annotated[bool | UnsetType, needs("container_nodes", "users")] = UNSET  # to the user there
    container_listed: Annotated[bool | UnsetType | None, CONTAINER] = UNSET  # on a device list; null: none to be read
    container_gid: Annotated[int | UnsetType | None, CONTAINER] = UNSET  # group number of the node
    usb_guard: Annotated[bool | UnsetType, SERVICES] = UNSET  # USB guard daemon is active
    power_saver: Annotated[str | UnsetType | None, SERVICES] = UNSET  # active power-saving service


class View(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a rule may ask of one adapter."""

    route: str | UnsetType = UNSET  # native, device, controller, forwarded
    host: HostFacts
    adapter: AdapterFacts
    power: PowerFacts
    bus: BusFacts
    driver: DriverFacts
    name: NameFacts
    access: AccessFacts
    assignments: Annotated[list[AssignmentFacts] | UnsetType, VMS] = UNSET
    handover: HandoverFacts
    guest: GuestFacts
    radio: RadioFacts
    air: AirFacts


# A rule with `each: LIST` is asked once per element, under this name.
ELEMENTS: dict[str, tuple[str, type[Struct]]] = {
    "assignments": ("assignment", AssignmentFacts),
    "access.holders": ("holder", HolderFacts),
    "driver.interfaces": ("interface", InterfaceFacts),
    "air.neighbours": ("neighbour", NeighbourFacts),
    "air.overlaps": ("overlap", OverlapFacts),
    "air.links": ("link", LinkFacts),
}


def plain(view: Struct) -> dict[str, Any]:
    """The view as nested dictionaries, absent fields left out.  Counts stay what they are (`bound.AtLeast`)."""
    found = {name: getattr(view, name) for name in view.__struct_fields__}
    return {name: _plain(value) for name, value in found.items() if value is not UNSET}


def _plain(value: Any) -> Any:
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return plain(value) if isinstance(value, Struct) else value
