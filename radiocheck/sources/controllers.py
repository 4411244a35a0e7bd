"""PCI USB controllers, their driver and IOMMU group, read from /sys/bus/pci/devices.

Kernel: Documentation/ABI/testing/sysfs-bus-pci (driver_override, vfio-dev in
sysfs-devices-vfio-dev), testing/sysfs-kernel-iommu_groups, drivers/pci/pci-sysfs.c.
Class 0x0c03 is "serial bus controller, USB" (PCI class codes, pci.ids).
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from typing import Any

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap
from radiocheck.evidence.usb import Controller, GroupMember

from .machine import Machine, Seen, decoded, refused
from .modprobe import COMMAND_LINE, boot_options, commands, plain
from .sysfs import linked_name, read_value

FUNCTIONS = "/sys/bus/pci/devices"
USB_DEVICES = "/sys/bus/usb/devices"
USB_CLASS = "0c03"

Settings = list[tuple[str, str]] | None  # where it stands, and the ids; None: not everything could be read
_PCI_ADDRESS = re.compile(r"[0-9a-f]{4,}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]")


def _hex_digits(count: int) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if len(text) != count + 2 or not re.fullmatch(r"0x[0-9a-fA-F]+", text):
            raise ValueError(text)
        return text[2:].lower()

    return parse


_class = _hex_digits(6)
_id = _hex_digits(4)


def _override(text: str) -> str | None:
    return None if text in ("(null)", "") else text  # pci-sysfs.c prints a null pointer with %s


def collect(machine: Machine) -> Seen:
    """`controllers`: every PCI function of class 0x0c03xx, whichever driver it has; `pci_functions`: all addresses."""
    if not machine.exists(FUNCTIONS):
        if machine.exists("/sys/bus"):
            return Seen({"controllers": [], "pci_functions": []})  # no PCI bus on this machine
        gap = Gap(what="controllers", why="not-here", detail="/sys is not mounted", provide="mount sysfs")
        return Seen(gaps=(gap,))
    gaps: list[Gap] = []
    controllers: list[Controller] = []
    settings: Any = UNSET
    try:
        functions = machine.names(FUNCTIONS)
        for address in functions:
            # an unreadable class leaves open whether this is one more: then there is no complete list
            text = machine.attribute(f"{FUNCTIONS}/{address}/class")
            if text is not None and text.strip().lower().removeprefix("0x").startswith(USB_CLASS):
                own: list[Gap] = []
                settings = _settings(machine, gaps) if settings is UNSET else settings
                controller = _controller(machine, address, settings, own)
                if machine.exists(f"{FUNCTIONS}/{address}/class"):  # else the function was removed meanwhile
                    controllers.append(controller)
                    gaps.extend(own)
    except OSError as error:
        return Seen(gaps=(refused("controllers", error),))
    return Seen({"controllers": controllers, "pci_functions": functions}, tuple(gaps))


def _controller(machine: Machine, address: str, settings: Settings, gaps: list[Gap]) -> Controller:
    folder, what = f"{FUNCTIONS}/{address}", f"controllers[{address}]"

    def read(file: str, field: str, parse: Callable[[str], Any]) -> Any:
        return read_value(machine, f"{folder}/{file}", f"{what}.{field}", parse, gaps)

    driver = linked_name(machine, f"{folder}/driver", f"{what}.driver", gaps)
    group = _group_number(machine, folder, what, gaps)
    class_, vid, pid = read("class", "class_", _class), read("vendor", "vid", _id), read("device", "pid", _id)
    return Controller(
        address=address,
        class_=class_,
        vid=vid,
        pid=pid,
        driver=driver,
        driver_override=read("driver_override", "driver_override", _override),
        reserved=_reserved(machine, folder, (vid, pid, class_), settings),
        vfio=_vfio(machine, folder, driver),
        iommu_group=group,
        group=[] if group is None else _members(machine, folder, address, what, gaps),
        buses=_buses(machine, address, what, gaps),
    )


def _vfio(machine: Machine, folder: str, driver: Any) -> Any:
    """Variant drivers have other names; each has a `vfio-dev` folder from Linux 6.1 on."""
    if machine.exists(f"{folder}/vfio-dev") or (isinstance(driver, str) and driver.startswith("vfio")):
        return True
    return UNSET if driver is UNSET else False


def _settings(machine: Machine, gaps: list[Gap]) -> Settings:
    """What sets functions aside for vfio-pci by their ids (Linux, drivers/vfio/pci/vfio_pci.c, parameter `ids`)."""
    found: list[tuple[str, str]] = []
    try:
        for option, value in boot_options(machine):
            if plain(option) == "vfio_pci.ids":
                found.append((f"{COMMAND_LINE}: {option}={value}", value))
        for shown, words in commands(machine):
            if words[0] == "options" and plain("".join(words[1:2])) == "vfio_pci":
                found += [(f"{shown}: {' '.join(words)}", word[4:]) for word in words[2:] if word.startswith("ids=")]
    except OSError as error:
        gaps.append(refused("controllers[].reserved", error))
        return None
    return found


def _reserved(machine: Machine, folder: str, own: tuple[Any, Any, Any], settings: Settings) -> Any:
    """The first setting that fits; absent when one might, but not everything that decides could be read."""
    if settings is None or any(part is UNSET for part in own):
        return UNSET
    for shown, ids in settings:
        for one in ids.strip('"').split(","):
            if _fits(machine, folder, own, one.split(":")):
                return decoded(shown)
    return None


def _fits(machine: Machine, folder: str, own: tuple[str, str, str], wanted: list[str]) -> bool:
    """vfio_pci_fill_ids and pci_match_one_device: vendor, device, then optional subsystem ids, class and mask.

    The kernel's %x takes `0x` as well, and all ones is any.
    """
    try:
        numbers = [int(word, 16) for word in wanted]
        vid, pid, class_ = (int(word, 16) for word in own)
        if len(numbers) < 2 or numbers[:2] != [vid, pid]:
            return False
        for number, file in zip(numbers[2:4], ("subsystem_vendor", "subsystem_device"), strict=False):
            if number != 0xFFFFFFFF and number != int((machine.attribute(f"{folder}/{file}") or "").strip(), 16):
                return False
    except (ValueError, OSError):
        return False  # the kernel passes over what it cannot read, too
    return len(numbers) < 6 or not (class_ ^ numbers[4]) & numbers[5]


def _group_number(machine: Machine, folder: str, what: str, gaps: list[Gap]) -> Any:
    group = linked_name(machine, f"{folder}/iommu_group", f"{what}.iommu_group", gaps)
    if not isinstance(group, str):
        return group  # null: no IOMMU translates for this function
    if group.isdecimal() and len(group) < 10:
        return int(group)
    gaps.append(Gap(what=f"{what}.iommu_group", why="malformed", detail=group[:80]))
    return UNSET


def _members(machine: Machine, folder: str, address: str, what: str, gaps: list[Gap]) -> Any:
    devices = f"{folder}/iommu_group/devices"
    try:
        names = machine.names(devices)
    except OSError as error:
        gaps.append(refused(f"{what}.group", error))
        return UNSET
    if not names:
        return UNSET  # the function itself is a member: an empty list means that it left meanwhile
    return [
        GroupMember(
            address=decoded(name),
            class_=read_value(machine, f"{devices}/{name}/class", f"{what}.group[{name}].class_", _class, gaps),
            driver=linked_name(machine, f"{devices}/{name}/driver", f"{what}.group[{name}].driver", gaps),
        )
        for name in names
        if name != address
    ]


def _buses(machine: Machine, address: str, what: str, gaps: list[Gap]) -> Any:
    """Numbers of the USB buses whose nearest PCI function is this one.

    The root hub need not be its direct child: with dwc3 a platform device stands between.
    """
    buses: list[int] = []
    try:
        for name in machine.names(USB_DEVICES):
            if not re.fullmatch(r"usb\d{1,9}", name):
                continue
            try:
                steps = os.readlink(machine.path(f"{USB_DEVICES}/{name}")).split("/")
            except FileNotFoundError:
                continue  # the bus was deregistered meanwhile
            if next((step for step in reversed(steps) if _PCI_ADDRESS.fullmatch(step)), None) == address:
                buses.append(int(name[3:]))
    except OSError as error:
        gaps.append(refused(f"{what}.buses", error))
        return UNSET
    return sorted(buses)
