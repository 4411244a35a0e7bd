"""Virtual machines: what a QEMU process was told, and what libvirt keeps."""

from __future__ import annotations

from msgspec import UNSET, Struct, UnsetType

from .serial import Node


class UsbHostArg(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One `usb-host` device of a QEMU command line; null: the property is not given.

    A selector that is given as 0 is a wildcard for QEMU and is stored as null.
    """

    id: str | None = None
    vid: str | None = None
    pid: str | None = None
    bus: int | None = None  # hostbus
    address: int | None = None  # hostaddr
    port: str | None = None  # hostport
    node: str | None = None  # hostdevice


class PciArg(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One `vfio-pci` device: a whole PCI function given to the VM."""

    address: str  # normalised to dddd:bb:ss.f
    managed: bool | UnsetType = UNSET  # libvirt unbinds the host's driver at the start and binds it again after


class TtyArg(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A host tty given to the VM as a character device."""

    path: str


class QemuProcess(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A running QEMU process."""

    pid: int
    name: str | UnsetType | None = UNSET  # -name guest=…
    uuid: str | UnsetType | None = UNSET  # -uuid, as the guest's firmware shows it
    uid: int | UnsetType = UNSET
    user: str | UnsetType | None = UNSET
    groups: list[int] | UnsetType = UNSET  # of the running process
    started: float | UnsetType = UNSET  # Unix seconds
    usb: list[UsbHostArg] | UnsetType = UNSET  # of the command line; hot-plugged ones do not show
    pci: list[PciArg] | UnsetType = UNSET
    ttys: list[TtyArg] | UnsetType = UNSET
    usb_bus: bool | UnsetType = UNSET  # a USB controller is on the command line
    libvirt: bool | UnsetType = UNSET  # its command line is one that libvirt writes
    own_nodes: list[Node] | UnsetType = UNSET  # /dev/bus/usb nodes as seen inside its own /dev; complete


class HostdevUsb(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One `<hostdev type='usb'>`; null: not given in the XML."""

    vid: str | None = None
    pid: str | None = None
    bus: int | None = None
    address: int | None = None  # device= of <address>
    port: str | None = None
    startup: str | None = None  # startupPolicy
    missing: bool = False  # live XML: optional device that was not there at start
    resolved: bool = False  # pasted XML of a running VM: bus and address are what libvirt found for the IDs


class Definition(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """The parts of a domain XML that matter for the path."""

    usb: list[HostdevUsb]
    pci: list[PciArg]
    ttys: list[TtyArg]
    usb_bus: bool | UnsetType = UNSET  # a usb controller whose model is not `none`
    redirections: int | UnsetType = UNSET  # <redirdev> for USB, to be used by a viewer; read of pastes only


class Domain(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A libvirt domain."""

    name: str
    uuid: str | UnsetType = UNSET
    state: str | UnsetType = UNSET  # libvirt's words: running, paused, shut off, crashed …
    autostart: bool | UnsetType = UNSET
    persistent: bool | UnsetType = UNSET
    live: Definition | UnsetType | None = UNSET  # null: not running
    next: Definition | UnsetType | None = UNSET  # what the next start uses; null: transient


class VmMessage(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A line of a VM's log (QEMU's stderr, libvirt's refusal) that a rule can use."""

    vm: str | None
    kind: str  # one of radiocheck.sources.vm_log.KINDS
    at: float | None = None  # Unix seconds; null: the line carries no time
    data: dict[str, str] = {}
    text: str


ERROR = "what the error says"  # origin of a configuration that is known from a refusal of it only


class GivenVm(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A VM's configuration that a person gave as a file, since its manager hides its own."""

    name: str | None  # null: the text names none
    manager: str  # qemu, libvirt, xen
    origin: str  # the file's name, or ERROR
    arguments: list[UsbHostArg] = []  # of a QEMU command line
    hostdevs: list[HostdevUsb] = []  # of libvirt or Xen
    pci: list[PciArg] = []
    ttys: list[TtyArg] = []
    usb_bus: bool | UnsetType = UNSET
    autostart: bool | UnsetType | None = UNSET
    once: bool = False  # of a paste: attached to an earlier run of the VM only, and no part of what it is started with


class MonitorUsb(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One `usb-host` device as QEMU itself tells of it, hot-plugged ones among them."""

    argument: UsbHostArg
    attached: bool | UnsetType = UNSET  # to the guest's port; QEMU may not have noticed yet that the adapter left
    hot_plugged: bool | UnsetType = UNSET  # after the machine was set up
    product: str | UnsetType | None = UNSET


class Monitor(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """What a QEMU answered on a monitor socket that a person named."""

    socket: str
    pid: int | UnsetType = UNSET  # the process that listens: QEMU, or a manager that made the socket for it
    name: str | UnsetType | None = UNSET  # query-name
    uuid: str | UnsetType | None = UNSET  # query-uuid
    status: str | UnsetType = UNSET  # query-status: running, paused …
    version: str | UnsetType = UNSET
    usb: list[MonitorUsb] | UnsetType = UNSET
