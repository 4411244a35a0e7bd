"""What configurations ask for that a person gave as files, put together with what is seen of the same VMs.

What is given is what the next start uses.  How the VM runs is told by its domain, its
process or its monitor, found by the VM's name; nothing else is taken for the same VM.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from msgspec import UNSET, Struct, UnsetType
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, whole
from radiocheck.evidence.usb import UsbDevice
from radiocheck.evidence.vm import ERROR, Definition, Domain, GivenVm, Monitor, QemuProcess

from .history import stays
from .item import Item, picks
from .items_libvirt import is_running, of_definition, same
from .items_qemu import usb_host, vm_name


class SeenVm(Struct, frozen=True):
    """A VM that was seen on the host, with its lines."""

    lines: list[Item]
    name: str | UnsetType | None
    domain: Domain | None = None
    process: QemuProcess | None = None
    monitor: Monitor | None = None

    @property
    def running(self) -> bool | UnsetType:
        """Whether it runs, as far as it was seen."""
        if self.process is not None or self.monitor is not None:
            return True
        return is_running(self.domain) if self.domain is not None else UNSET

    @property
    def all_live(self) -> bool:
        """Whether its lines hold everything that the running VM has, hot-plugged devices aside."""
        if self.domain is not None and known(self.domain.live):
            return True
        return self.monitor is not None or (self.process is not None and known(self.process.usb))


def put_together(evidence: Evidence, seen: Sequence[SeenVm]) -> list[Item]:
    """The lines of all VMs that were seen or given; a VM that is both has each of its lines once."""
    rest = list(seen)
    found: list[Item] = []
    for given in evidence.given_vms if known(evidence.given_vms) else []:
        if given.manager == "xen":
            found += _of_xen(given, evidence)
            continue
        vm = _same_vm(given, rest)
        if vm is not None and _looked_up(given) and (vm.domain is not None or vm.all_live):
            continue  # libvirt says itself what it will do, or the process what it was told
        if vm is not None:
            rest.remove(vm)
        found += _of_qemu(given, vm, evidence)
    return found + [line for vm in rest for line in vm.lines]


def _looked_up(given: GivenVm) -> bool:
    """A command line that libvirt wrote: its numbers were looked up for one start, and say nothing of the next."""
    return given.manager == "libvirt" and bool(given.arguments)


def _same_vm(given: GivenVm, seen: Sequence[SeenVm]) -> SeenVm | None:
    """The VM of that name; without a name, the only nameless process that was told exactly the same."""
    found = [vm for vm in seen if vm.name == given.name]
    if given.name is None:
        told = (given.arguments, given.pci, given.ttys)
        found = [vm for vm in found if any(told) and vm.process is not None and _told(vm.process) == told]
    return found[0] if len(found) == 1 else None


def _told(process: QemuProcess) -> tuple[Any, Any, Any]:
    return process.usb, process.pci, process.ttys


def _running(given: GivenVm, vm: SeenVm | None, evidence: Evidence) -> bool | UnsetType:
    """Whether it runs; absent when neither it nor all that run were seen."""
    if vm is not None:
        return vm.running
    if not known(evidence.qemu) or not whole(evidence, "qemu"):
        return UNSET
    names = [one.name for one in evidence.qemu]
    gone = given.name is not None and given.name not in names and all(known(name) for name in names)
    return False if gone or not names else UNSET


def _written(given: GivenVm, vm: SeenVm | None) -> list[Item]:
    """The lines as they are given."""
    xml = Definition(usb=given.hostdevs, pci=given.pci, ttys=given.ttys)
    found = [usb_host(argument) for argument in given.arguments] + of_definition("", xml)
    if given.manager == "xen":
        found = [_in_words_of_xl(item) for item in found]
    elif given.manager == "qemu":
        found = [_in_words_of_qemu(item) for item in found]
    name = given.name
    if name is None and vm is not None and vm.process is not None:
        name = vm_name(vm.process)
    common: dict[str, Any] = {
        # Typographic quotation marks keep the makeshift out of commands (see template.command)
        "vm": name if name is not None else f"the VM of “{given.origin}”",
        "named": name is not None,
        "manager": given.manager,
        "by_error": given.origin == ERROR,
        "autostart": given.autostart,
        "usb_bus": given.usb_bus,
        "once": given.once,
        "in_next": False if given.once else UNSET if _looked_up(given) else True,
    }
    of_live: dict[str, Any] = {"live_bus": UNSET, "live_address": UNSET}
    return [
        replace(item, text=f"{item.text} (in {given.origin})", **common, **({} if item.in_live is True else of_live))
        for item in found
    ]


def _in_words_of_xl(item: Item) -> Item:
    if item.kind == "device" and item.selector == "address":
        return replace(item, text=f"usbdev hostbus={item.bus}, hostaddr={item.address}")
    return replace(item, text=f"pci {item.controller}") if item.kind == "controller" else item


def _in_words_of_qemu(item: Item) -> Item:
    if item.kind == "forwarded":
        return replace(item, text=f"character device {item.tty}")
    return replace(item, text=f"vfio-pci {item.controller}") if item.kind == "controller" else item


def _of_xen(given: GivenVm, evidence: Evidence) -> list[Item]:
    """Lines of a Xen domain.  It needs no QEMU process, and `xl` tells none of its USB devices at the start."""
    listed = known(evidence.pci_functions) and "pci_functions" not in evidence.partly
    there = evidence.pci_functions if known(evidence.pci_functions) and listed else None
    whole = {item.address[:-2] for item in given.pci if item.address.endswith(".7")}  # `00:14.*`: all there are
    return [
        item
        for item in _written(given, None)
        if item.controller is None or there is None or item.controller in there or item.controller[:-2] not in whole
    ]


def _of_qemu(given: GivenVm, vm: SeenVm | None, evidence: Evidence) -> list[Item]:
    """Lines of a VM that QEMU runs: what is given for the next start, put together with what it has now."""
    runs = any(one.resolved for one in given.hostdevs)  # it is the XML of the running VM
    running = True if runs else _running(given, vm, evidence)
    in_live: bool | UnsetType = False if running is False or (vm is not None and vm.all_live) else UNSET
    in_live = True if runs else in_live
    rest = [item for item in vm.lines if item.in_live is True] if vm is not None else []
    merged: list[Item] = []
    for item in _written(given, vm):
        twin = next((one for one in rest if same(item, one)), None)
        twin = twin or next((one for one in rest if _came_from(item, one, evidence)), None)
        if twin is None:
            merged.append(item if item.in_live is True else replace(item, in_live=in_live))
        else:
            rest.remove(twin)
            merged.append(_with_live(item, twin))
    unclear = [item for item in rest if _nobody_knows(item, evidence)]
    if unclear and any(_may_be_resolved(item) for item in merged):  # and then for which line it was
        rest = [item for item in rest if item not in unclear]
        merged = [replace(item, in_live=UNSET) if _may_be_resolved(item) else item for item in merged]
    merged += [replace(item, in_next=False) for item in rest]
    common: dict[str, Any] = {"running": running}
    if vm is not None:
        common["process"] = vm.process
        if vm.domain is not None and not known(given.autostart):
            common["autostart"] = vm.domain.autostart
    return [replace(item, **common) for item in merged]


def _with_live(item: Item, now: Item) -> Item:
    """A line of the configuration with what is known of the same line in the running VM."""
    return replace(
        item,
        in_live=True,
        missing=now.missing,
        live_bus=now.live_bus,
        live_address=now.live_address,
        attached=now.attached,
        paused=now.paused,
    )


def _may_be_resolved(item: Item) -> bool:
    """A line of the configuration that was not found in the running VM, where it may stand as a number."""
    return item.kind == "device" and not item.pinned and item.in_live is not True


def _nobody_knows(now: Item, evidence: Evidence) -> bool:
    """Whether a running VM was given a number, and neither the bus nor the log tells whose it was."""
    if now.kind != "device" or not known(now.live_address) or now.live_address is None:
        return False
    return not _with_number(now.live_bus, now.live_address, evidence)


def _came_from(later: Item, now: Item, evidence: Evidence) -> bool:
    """Whether the number that a running VM was given belongs, or belonged, to what a line asks for."""
    if later.kind != "device" or later.pinned or now.kind != "device" or not known(now.live_address):
        return False
    return any(picks(later, device) for device in _with_number(now.live_bus, now.live_address, evidence))


def _with_number(bus: int | UnsetType | None, number: int | None, evidence: Evidence) -> Sequence[UsbDevice]:
    """The device that has the number now, else the last one that the log remembers with it."""
    if bus is None or number is None:
        return []
    present = [one for one in evidence.usb if (one.bus, one.devnum) == (bus, number)] if known(evidence.usb) else []
    if present:
        return present
    events = evidence.kernel_log.events if known(evidence.kernel_log) else []
    past = [stay for stay in stays(events) if (stay.bus, stay.number) == (bus, number)]
    return [
        UsbDevice(
            name=stay.device,
            bus=stay.bus,
            devnum=number,
            path=stay.device.partition("-")[2],
            vid=stay.vid or UNSET,
            pid=stay.pid or UNSET,
        )
        for stay in past[-1:]
    ]
