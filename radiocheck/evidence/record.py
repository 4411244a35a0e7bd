"""The whole of what was seen of one machine at one moment."""

from __future__ import annotations

from msgspec import UNSET, Struct, UnsetType

from .air import AirReading, WifiNetwork
from .container import ContainerNode
from .disk import Disk
from .serial import AppMessage, Handles, Link, Node, Service, Tty, UdevRule, User
from .usb import Controller, Module, UsbDevice, UsbPort
from .vm import Domain, GivenVm, Monitor, QemuProcess, VmMessage

FORMAT = 1  # raised when a reader of the old format would misread the new one


class Taken(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """When, by what and with which rights the evidence was taken."""

    at: float  # Unix seconds, UTC: the clock that every "recent" is measured against
    tool: str  # version of radiocheck
    root: bool | UnsetType = UNSET
    origin: str = "live"  # live, paste
    # Of a paste: what is taken for granted, since nothing in it says otherwise.  native: no VM has to do with it
    assumes: list[str] = []


class Host(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """The machine itself."""

    kernel: str | UnsetType = UNSET
    machine: str | UnsetType = UNSET  # x86_64, aarch64
    distribution: str | UnsetType | None = UNSET
    booted: float | UnsetType = UNSET  # Unix seconds
    virtualisation: str | UnsetType | None = UNSET  # kvm, qemu, xen …; null: bare metal
    container: str | UnsetType | None = UNSET  # null: no container
    hypervisor: bool | UnsetType = UNSET  # programs that run VMs are installed here
    uuid: str | UnsetType | None = UNSET  # the machine's own, by its firmware; a guest's is that of its VM
    udev_running: bool | UnsetType = UNSET


class Gap(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Why something could not be looked at, and how to provide it."""

    what: str  # evidence path: "handles", "kernel_log", "domains", "usb[1-2].serial"
    why: str  # denied, no-tool, timed-out, failed, not-here, malformed
    detail: str = ""  # what the system said, in one line
    provide: str = ""  # "run as root", a command to paste the output of …


class Event(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A kernel message that means something for the path.

    `data` holds the named groups of the message format (err, num, vid, pid, comm …).
    """

    kind: str  # one of radiocheck.sources.kernel_log.KINDS
    at: float | None = None  # Unix seconds; null: the line carries no time
    device: str | None = None  # "1-2"; interfaces are cut to their device
    port: str | None = None  # "usb1-port2"
    tty: str | None = None
    controller: str | None = None  # PCI address
    data: dict[str, str] = {}
    text: str


class KernelLog(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """The typed events of the kernel log, oldest first."""

    source: str  # journal, dmesg, paste
    events: list[Event]
    since: float | None = None  # time of the first line that was read
    from_boot: bool | UnsetType = UNSET  # the log reaches back to the start of this boot


class Evidence(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Everything that was seen.  Absent: nobody could look, and a gap says why."""

    radiocheck_evidence: int  # FORMAT
    taken: Taken
    host: Host | UnsetType = UNSET
    usb: list[UsbDevice] | UnsetType = UNSET
    ports: list[UsbPort] | UnsetType = UNSET
    controllers: list[Controller] | UnsetType = UNSET
    disks: list[Disk] | UnsetType = UNSET  # block devices in use
    pci_functions: list[str] | UnsetType = UNSET  # addresses of all PCI functions, of whatever kind
    modules: list[Module] | UnsetType = UNSET
    module_files: bool | UnsetType = UNSET  # the running kernel's folder of modules is there
    ttys: list[Tty] | UnsetType = UNSET
    links: list[Link] | UnsetType = UNSET
    usb_nodes: list[Node] | UnsetType = UNSET  # /dev/bus/usb/BBB/DDD
    users: list[User] | UnsetType = UNSET
    handles: Handles | UnsetType = UNSET
    services: list[Service] | UnsetType = UNSET
    kernel_log: KernelLog | UnsetType = UNSET
    qemu: list[QemuProcess] | UnsetType = UNSET
    domains: list[Domain] | UnsetType = UNSET
    libvirt_version: str | UnsetType | None = UNSET  # of the library, "9.0.0"; null: none is installed
    given_vms: list[GivenVm] | UnsetType = UNSET  # absent: none was given
    monitors: list[Monitor] | UnsetType = UNSET  # absent: none was asked
    container_nodes: list[ContainerNode] | UnsetType = UNSET  # absent outside containers
    vm_messages: list[VmMessage] | UnsetType = UNSET
    app_messages: list[AppMessage] | UnsetType = UNSET  # absent: no program's words were given
    udev_rules: list[UdevRule] | UnsetType = UNSET  # absent: none was given
    wifi: list[WifiNetwork] | UnsetType = UNSET  # heard lately, at least; never all that there is, and never empty
    air_readings: list[AirReading] | UnsetType = UNSET  # absent: none was given
    partly: list[str] = []  # list fields that hold a part only (of a paste); all others are complete or absent
    gaps: list[Gap] = []


def whole(evidence: Evidence, field: str) -> bool:
    """Whether a list of the evidence is there and complete: only then does it say anything that it lacks something."""
    return getattr(evidence, field) is not UNSET and field not in evidence.partly


def interfaces_of(device: str) -> str:
    """The name by which `partly` says that not all interfaces of a device are known (a log names some)."""
    return f"usb[{device}].interfaces"
