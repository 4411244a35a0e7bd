"""USB devices, interfaces, ports and controllers as the kernel shows them in sysfs.

Field meanings follow the kernel's Documentation/ABI/{stable,testing}/sysfs-bus-usb
and sysfs-bus-pci.  Units are in the names or in the comment beside the field.
"""

from __future__ import annotations

from msgspec import UNSET, Struct, UnsetType


class UsbInterface(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One interface, e.g. `1-2:1.0`."""

    name: str
    number: int | UnsetType = UNSET
    class_: int | UnsetType = UNSET  # bInterfaceClass
    subclass: int | UnsetType = UNSET
    protocol: int | UnsetType = UNSET
    endpoints: int | UnsetType = UNSET  # without endpoint 0
    driver: str | UnsetType | None = UNSET  # name behind the `driver` link; null: unbound
    authorized: bool | UnsetType = UNSET
    label: str | UnsetType | None = UNSET  # iInterface string
    modalias: str | UnsetType | None = UNSET
    ttys: list[str] | UnsetType = UNSET  # "ttyUSB0"; complete


class UsbDevice(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One device or root hub, e.g. `1-2` or `usb1`."""

    name: str  # sysfs name: bus-port.port…, or usbN for a root hub
    bus: int | UnsetType = UNSET
    devnum: int | UnsetType = UNSET  # changes at every enumeration
    path: str | UnsetType = UNSET  # devpath: "1.2"; "0" for a root hub
    parent: str | UnsetType | None = UNSET  # sysfs name of the hub above; null for a root hub
    port: str | UnsetType | None = UNSET  # name of the UsbPort it sits in; null: no port object
    controller: str | UnsetType | None = UNSET  # PCI address or platform device name
    vid: str | UnsetType = UNSET  # four lower-case hex digits
    pid: str | UnsetType = UNSET
    bcd: str | UnsetType = UNSET  # bcdDevice, four hex digits
    manufacturer: str | UnsetType | None = UNSET
    product: str | UnsetType | None = UNSET
    called: str | UnsetType = UNSET  # of a paste: what lsusb has behind the IDs, of its database or the device's own
    serial: str | UnsetType | None = UNSET
    device_class: int | UnsetType = UNSET  # 9 = hub
    version: str | UnsetType = UNSET  # bcdUSB, "2.00"
    speed: float | UnsetType = UNSET  # Mb/s
    ports: int | UnsetType = UNSET  # maxchild; 0 = no hub
    self_powered: bool | UnsetType = UNSET  # bmAttributes bit 6 of the active configuration
    max_power_ma: int | UnsetType | None = UNSET  # bMaxPower; null when unconfigured
    configuration: int | UnsetType | None = UNSET  # null: the device is unconfigured
    authorized: bool | UnsetType = UNSET
    authorized_default: int | UnsetType = UNSET  # root hubs only: 0 none, 1 all, 2 internal
    removable: str | UnsetType = UNSET  # removable, fixed, unknown
    power_control: str | UnsetType = UNSET  # on: never suspended; auto
    autosuspend_ms: int | UnsetType = UNSET  # negative: never
    runtime_status: str | UnsetType = UNSET  # active, suspended …
    connected_ms: int | UnsetType = UNSET  # since this enumeration
    driver: str | UnsetType | None = UNSET  # of the device: "usb", "usbip-host"
    urbs: int | UnsetType = UNSET  # urbnum
    interfaces: list[UsbInterface] | UnsetType = UNSET  # complete; empty when unconfigured


class PhysicalPlace(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Where firmware says the connector is (ACPI _PLD, `physical_location/`)."""

    panel: str | UnsetType = UNSET
    vertical: str | UnsetType = UNSET
    horizontal: str | UnsetType = UNSET
    dock: bool | UnsetType = UNSET
    lid: bool | UnsetType = UNSET


class UsbPort(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """One port object, e.g. `usb1-port2` or `1-1-port3`."""

    name: str
    hub: str  # sysfs name of the hub it belongs to
    number: int
    connect_type: str | UnsetType = UNSET  # hotplug, hardwired, not used, unknown
    location: int | UnsetType | None = UNSET  # null: firmware is silent
    place: PhysicalPlace | UnsetType | None = UNSET
    over_current: int | UnsetType = UNSET  # events since boot
    state: str | UnsetType = UNSET  # "not attached" … "configured"; kernels from 6.5
    disabled: bool | UnsetType = UNSET
    early_stop: bool | UnsetType = UNSET
    peer: str | UnsetType | None = UNSET  # the SuperSpeed (or USB 2) port of the same receptacle
    device: str | UnsetType | None = UNSET  # sysfs name of what is plugged in


class GroupMember(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A PCI function that shares an IOMMU group."""

    address: str
    class_: str | UnsetType = UNSET  # six hex digits
    driver: str | UnsetType | None = UNSET


class Controller(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A PCI USB controller (class 0x0c03xx)."""

    address: str  # 0000:00:14.0
    class_: str | UnsetType = UNSET
    vid: str | UnsetType = UNSET
    pid: str | UnsetType = UNSET
    driver: str | UnsetType | None = UNSET
    driver_override: str | UnsetType | None = UNSET
    reserved: str | UnsetType | None = UNSET  # setting that means it for vfio-pci, with its file; null: none does
    vfio: bool | UnsetType = UNSET  # bound to a VFIO driver (name, or a vfio-dev directory)
    iommu_group: int | UnsetType | None = UNSET  # null: no IOMMU group
    group: list[GroupMember] | UnsetType = UNSET  # all members but itself; complete
    buses: list[int] | UnsetType = UNSET


class Module(Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """A kernel module that an interface asks for."""

    name: str
    interfaces: list[str] | UnsetType = UNSET  # USB interfaces whose modalias it matches; complete
    loaded: bool | UnsetType = UNSET  # /sys/module/NAME exists
    available: bool | UnsetType = UNSET  # file of this kernel, or built in
    blocked_by: str | UnsetType | None = UNSET  # "FILE: blacklist NAME" or install line; null: not blocked
