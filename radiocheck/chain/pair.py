"""Two captures, a host's and a VM's: do they belong together, and which adapter is which.

What survives a pass-through is what the device says of itself: QEMU forwards control
transfers, so IDs and strings are the device's own in the VM too (hw/usb/host-libusb.c,
usb_host_req_complete_ctrl).  Bus, number, port and tty are the VM's own.  The names
under /dev/serial/by-id are made of IDs and strings (60-serial.rules), so they add nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec import UNSET, Struct, UnsetType, field

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, whole
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import QemuProcess

from .adapters import is_adapter, is_hub
from .inside import emulated, inside
from .items_qemu import vm_name
from .subjects import Subject
from .verdict import Step

FAR = 60  # minutes between two captures beyond which the one says nothing of the other's moment
CLOCKS = 120  # seconds that the clocks of host and VM may differ
SERIAL_PORT = ("0403", "6001", "QEMU USB SERIAL")  # QEMU's own usb-serial (hw/usb/dev-serial.c)


class NotAGuest(ValueError):
    """The file given as the VM's cannot be that; one sentence."""


class Match(Struct, frozen=True):
    """Devices in the VM that an adapter of the host could be, and whether another adapter could be them as well."""

    devices: tuple[UsbDevice, ...]
    rivals: bool

    @property
    def sure(self) -> UsbDevice | None:
        """The only one it can be."""
        return self.devices[0] if len(self.devices) == 1 and not self.rivals else None


class Pair(Struct, frozen=True):
    """A capture of a VM, beside its host's."""

    guest: Evidence
    vm: str | UnsetType | None  # by UUID; null: no VM of this host; absent: it could not be told
    process: QemuProcess | None
    apart_s: int
    same_run: bool | UnsetType
    matches: Sequence[tuple[Subject, Match | UnsetType]]
    sides: Mapping[str, Step] = field(default_factory=dict)  # how the VM's side is judged, by its device's name

    @property
    def apart_min(self) -> int:
        """Whole minutes between the captures."""
        return self.apart_s // 60

    @property
    def apart(self) -> str:
        """The time between the captures, for a sentence."""
        for size, unit in ((86_400, "days"), (3600, "hours"), (60, "minutes")):
            if self.apart_s >= 2 * size:
                return f"{self.apart_s // size} {unit}"
        return f"{self.apart_s} seconds"

    @property
    def together(self) -> bool | UnsetType:
        """Whether the VM's capture tells of the moment that the host's shows."""
        return False if self.apart_min > FAR else self.same_run

    def match(self, subject: Subject) -> Match | UnsetType:
        """What of the VM could be this adapter."""
        return next((match for one, match in self.matches if one is subject), UNSET)

    def side(self, subject: Subject) -> Step | None:
        """The VM's own side of this adapter, as it was judged."""
        match = self.match(subject)
        sure = match.sure if known(match) else None
        return self.sides.get(sure.name) if sure is not None else None


def pair(host: Evidence, subjects: Sequence[Subject], guest: Evidence) -> Pair:
    """Put the captures together.  Raises `NotAGuest`."""
    _refuse(host, guest)
    uuid = guest.host.uuid if known(guest.host) else UNSET
    vm = _vm_of(host, uuid)
    process = None
    if isinstance(vm, str) and known(host.qemu):
        process = next((one for one in host.qemu if one.uuid == uuid), None)
        process = process or next((one for one in host.qemu if vm_name(one) == vm), None)
    return Pair(
        guest=guest,
        vm=vm,
        process=process,
        apart_s=int(abs(guest.taken.at - host.taken.at)),
        same_run=_same_run(host, guest, vm, process),
        matches=_matches(host, subjects, guest, vm),
    )


def _refuse(host: Evidence, guest: Evidence) -> None:
    if inside(host) is True:
        raise NotAGuest("was given beside a capture of a VM; the host's evidence comes first, the VM's with --guest")
    if host == guest or _same_machine(host, guest):
        raise NotAGuest("is the host's own capture; make one inside the VM with `radiocheck capture FILE`")
    if known(guest.host) and guest.host.virtualisation is None:
        raise NotAGuest("is no capture of a VM but of a machine of its own; make one inside the VM")


def _same_machine(host: Evidence, guest: Evidence) -> bool:
    """By UUID, else by the second of its boot: a VM boots after its host."""
    if not known(host.host) or not known(guest.host):
        return False
    if isinstance(host.host.uuid, str) and isinstance(guest.host.uuid, str):
        return host.host.uuid == guest.host.uuid
    booted, also = host.host.booted, guest.host.booted
    return known(booted) and known(also) and abs(booted - also) < 2


def _same_uuid(one: object, other: object) -> bool:
    """Equal, or equal with the first three fields' bytes swapped: SMBIOS before 2.6 wrote them so (dmi_scan.c)."""
    if not isinstance(one, str) or not isinstance(other, str):
        return False
    return one == other or one == _swapped(other)


def _swapped(uuid: str) -> str:
    parts = uuid.split("-")
    turned = ["".join(reversed([part[at : at + 2] for at in range(0, len(part), 2)])) for part in parts[:3]]
    return "-".join(turned + parts[3:])


def _vm_of(host: Evidence, uuid: object) -> str | UnsetType | None:
    """The VM of this host that has that UUID."""
    if not isinstance(uuid, str):
        return UNSET
    all_told = whole(host, "domains") and whole(host, "qemu")
    told: dict[str, str | UnsetType | None] = {}
    for monitor in host.monitors if known(host.monitors) else []:
        if isinstance(monitor.name, str):
            told[monitor.name] = monitor.uuid
    for process in host.qemu if known(host.qemu) else []:
        told[vm_name(process)] = process.uuid if known(process.uuid) else told.get(vm_name(process), UNSET)
    for domain in host.domains if known(host.domains) else []:
        told[domain.name] = domain.uuid if known(domain.uuid) else told.get(domain.name, UNSET)
    found = next((name for name, own in told.items() if _same_uuid(own, uuid)), None)
    if found is None and not (all_told and all(known(own) for own in told.values())):
        return UNSET
    return found


def _same_run(
    host: Evidence, guest: Evidence, vm: str | UnsetType | None, process: QemuProcess | None
) -> bool | UnsetType:
    """Whether the VM that the host shows running is the run that was captured."""
    if not isinstance(vm, str):
        return UNSET
    if process is None:
        return False if whole(host, "qemu") else UNSET
    booted = guest.host.booted if known(guest.host) else UNSET
    if known(booted) and booted > host.taken.at + CLOCKS:
        return False
    if not known(process.started):
        return UNSET
    if process.started > guest.taken.at + CLOCKS:
        return False
    return True if known(booted) else UNSET


class _Claim(Struct, frozen=True, order=True):
    """How much speaks for a match: equal strings before strings that are not told, then the VM it is for."""

    likeness: int
    ours: bool


def _matches(
    host: Evidence, subjects: Sequence[Subject], guest: Evidence, vm: str | UnsetType | None
) -> list[tuple[Subject, Match | UnsetType]]:
    if not known(guest.usb) or not whole(guest, "usb"):
        return [(subject, UNSET) for subject in subjects]
    devices = [device for device in guest.usb if not is_hub(device)]
    claims: dict[int, dict[str, _Claim]] = {}
    found: list[tuple[Subject, Match | UnsetType]] = []
    for position, subject in enumerate(subjects):
        if way(subject) in ("device", "native"):
            ours = any(item.vm == vm for item in subject.items)
            likeness = {device.name: _likeness(subject, device) for device in devices}
            claims[position] = {name: _Claim(rank, ours) for name, rank in likeness.items() if rank}
    for position, subject in enumerate(subjects):
        if position not in claims:
            found.append((subject, _elsewhere(host, subject, guest, devices)))
            continue
        mine = claims[position]
        best = max((claim.likeness for claim in mine.values()), default=0)
        others = [claim for other, claim in claims.items() if other != position]
        strong = [
            device
            for device in devices
            if device.name in mine
            and mine[device.name].likeness == best
            and not any(other.get(device.name, _Claim(0, False)) > mine[device.name] for other in others)
        ]
        rivals = any(other.get(device.name) == mine[device.name] for device in strong for other in others)
        found.append((subject, Match(tuple(strong), rivals)))
    return found


def is_virtual_port(device: UsbDevice) -> bool:
    """QEMU's own USB serial converter, behind which a serial port of the host is, or something else."""
    return (device.vid, device.pid, device.product) == SERIAL_PORT


def way(subject: Subject) -> str:
    """How it reaches a VM, by the lines that were seen."""
    kinds = {item.kind for item in subject.items}
    return next((kind for kind in ("device", "forwarded", "controller") if kind in kinds), "native")


def _likeness(subject: Subject, device: UsbDevice) -> int:
    """2: all strings equal; 1: IDs equal, and strings that one side does not have; 0: another device."""
    mine = subject.device if subject.device is not None else subject.stay
    if mine is None:
        ids = {(item.vid, item.pid) for item in subject.items}
        return 1 if ids == {(device.vid, device.pid)} else 0
    if (mine.vid, mine.pid) != (device.vid, device.pid) or mine.vid is None or not known(mine.vid):
        return 0
    rank = 2
    for one, other in (
        (mine.manufacturer, device.manufacturer),
        (mine.product, device.product),
        (mine.serial, device.serial),
    ):
        if isinstance(one, str) and isinstance(other, str) and one != other:
            return 0
        if one != other or not known(one):
            rank = 1
    return rank


def _elsewhere(host: Evidence, subject: Subject, guest: Evidence, devices: Sequence[UsbDevice]) -> Match | UnsetType:
    """What came another way: behind a controller that was given whole, or as QEMU's own serial converter."""
    if way(subject) == "forwarded":
        ports = [device for device in devices if is_virtual_port(device)]
        # The usual serial port of a VM is no USB device: that none is there says nothing.
        return Match(tuple(ports), rivals=False) if ports else UNSET
    if not known(host.controllers) or not known(guest.controllers) or not whole(guest, "controllers"):
        return UNSET
    given = {item.controller for item in subject.items if item.kind == "controller"}
    ids = {(one.vid, one.pid) for one in host.controllers if one.address in given}
    if not ids or not all(known(vid) and known(pid) for vid, pid in ids):
        return UNSET
    there = [one for one in guest.controllers if (one.vid, one.pid) in ids]
    if any(emulated(one) is not False for one in there):
        return UNSET
    places = {one.address for one in there}
    behind = [device for device in devices if device.controller in places and is_adapter(device, guest, ())]
    return Match(tuple(behind), rivals=False)
