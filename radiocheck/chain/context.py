"""Evidence of one machine with what every fact needs of it, worked out once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from msgspec import UNSET, Struct, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Event, Evidence, whole
from radiocheck.evidence.serial import Handle, Node, Tty, User
from radiocheck.evidence.usb import UsbDevice, UsbPort

from .adapters import is_hub, is_placed
from .bound import count
from .held import usb_minor
from .history import arrived, located, since_arrival
from .kinds import in_words
from .pair import Pair
from .subjects import Subject

if TYPE_CHECKING:
    from .air_build import Asked

USBFS_MAJOR = 189  # include/linux/usb.h, USB_DEVICE_MAJOR
TTY_MAJORS = frozenset({166, 188})  # Documentation/admin-guide/devices.txt: ttyACM, ttyUSB


class Context(Struct, frozen=True, dict=True):
    """The evidence, indexed."""

    evidence: Evidence
    subjects: Sequence[Subject]
    now: float
    events: Sequence[Event] | UnsetType
    devices: dict[str, UsbDevice] | UnsetType
    ports: dict[str, UsbPort] | UnsetType
    ttys: dict[str, Tty] | UnsetType
    user: User | UnsetType
    inside: bool | UnsetType = False  # this machine is a VM that has its adapters from its host
    pair: Pair | None = None  # a capture of a VM, beside this host's
    asked: Asked | None = None  # what the person says of the air

    @cached_property
    def on_controllers(self) -> dict[str | UnsetType | None, list[tuple[str, str]]]:
        """Name and words of present devices that are no hubs, by the PCI address of their controller."""
        disks = self.evidence.disks if known(self.evidence.disks) else []
        found: dict[str | UnsetType | None, list[tuple[str, str]]] = {}
        for device in self.devices.values() if known(self.devices) else ():
            if not is_hub(device):
                found.setdefault(device.controller, []).append((device.name, in_words(device, disks)))
        return found

    @cached_property
    def _usb_nodes(self) -> dict[int, Node]:
        nodes = self.evidence.usb_nodes if known(self.evidence.usb_nodes) else []
        return {node.minor: node for node in reversed(nodes) if node.major == USBFS_MAJOR and known(node.minor)}

    def whole(self, field: str) -> bool:
        """Whether a list of the evidence is there and complete."""
        return whole(self.evidence, field)

    def log_since_arrival(self, place: str | None) -> tuple[Sequence[Event], bool]:
        """What the log has of a device since its last enumeration, and whether that is all there was."""
        if not known(self.events) or place is None:
            return [], self.whole("kernel_log")
        told = is_placed(place) and (self.whole("kernel_log") or arrived(self.events, place))
        return since_arrival(self.events, place), told

    def holders(self, major: int, minor: int | None) -> list[Handle] | UnsetType:
        """Processes that were seen to hold a node; absent when nobody could look."""
        if not known(self.evidence.handles) or minor is None:
            return UNSET
        return [
            one for one in self.evidence.handles.open if (one.major, one.minor) == (major, minor) and not one.deleted
        ]

    def all_handles_seen(self) -> bool:
        """Whether every process could be looked into."""
        return known(self.evidence.handles) and self.evidence.handles.unread == 0 and self.whole("handles")

    def handles_of(self, pid: int) -> list[Handle] | UnsetType:
        """What a process holds open; absent when it could not be looked into.  Not all, if the list is not whole."""
        if not known(self.evidence.handles):
            return UNSET
        mine = [one for one in self.evidence.handles.open if one.pid == pid]
        return mine if mine or self.all_handles_seen() else UNSET

    def usb_node(self, device: UsbDevice) -> Node | UnsetType:
        """The usbfs node of a device; absent when it was not seen."""
        minor = usb_minor(device)
        return UNSET if minor is None else self._usb_nodes.get(minor, UNSET)

    def free_adapters(self) -> list[Subject] | UnsetType:
        """Present adapters that no VM asks for."""
        if any(subject.partial for subject in self.subjects):
            return UNSET
        return [one for one in self.subjects if one.device is not None and not one.items]


def context(
    evidence: Evidence,
    subjects: Sequence[Subject],
    inside: bool | UnsetType = False,
    pair: Pair | None = None,
    asked: Asked | None = None,
) -> Context:
    """Index the evidence."""
    users = [user for user in evidence.users if user.asked] if known(evidence.users) else []
    return Context(
        evidence=evidence,
        subjects=subjects,
        now=evidence.taken.at,
        events=located(evidence.kernel_log.events) if known(evidence.kernel_log) else UNSET,
        devices={device.name: device for device in evidence.usb} if known(evidence.usb) else UNSET,
        ports={port.name: port for port in evidence.ports} if known(evidence.ports) else UNSET,
        ttys={tty.name: tty for tty in evidence.ttys} if known(evidence.ttys) else UNSET,
        user=users[0] if users else UNSET,
        inside=inside,
        pair=pair,
        asked=asked,
    )


def twins(context: Context, device: UsbDevice) -> int | UnsetType:
    """Other present devices with the same VID:PID."""
    if not known(context.devices) or not known(device.vid) or not known(device.pid):
        return UNSET
    found = sum(
        1
        for other in context.devices.values()
        if other.name != device.name and not is_hub(other) and (other.vid, other.pid) == (device.vid, device.pid)
    )
    return count(found, context.whole("usb"))
