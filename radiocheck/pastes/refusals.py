"""What a refused start tells of the VM's configuration: the line that the refusal is about.

`Did not find USB device 1209:7a01` is said of a VM that asks for these IDs, whether its
configuration was pasted or not.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from msgspec.structs import replace

from radiocheck.evidence.serial import AppMessage
from radiocheck.evidence.vm import ERROR, Domain, GivenVm, HostdevUsb, PciArg, QemuProcess, UsbHostArg, VmMessage
from radiocheck.sources import qemu_args

_DEVICE = re.compile(r"-device '?(?P<words>(?:usb-host|vfio-pci)[^\s:']{0,300}|\{[^{}]{1,600}\})'?: ")
_ID = re.compile(r",(?P<key>vendor|product)id=(?:0x)?(?P<id>[0-9a-f]{4})(?=[,:])", re.IGNORECASE)
_NODE = re.compile(r"/dev/bus/usb/(\d{3})/(\d{3})")
_TTY = re.compile(r"-(?P<option>chardev|serial|parallel) '?(?P<words>[^\s':]{1,300})'?: [Cc]ould not open ")
_DENIALS = ("apparmor-denied", "selinux-denied")
_OF_LIBVIRT = frozenset({"libvirt-not-found", "libvirt-several", "libvirt-in-use", "libvirt-missing"})


def told(
    messages: Sequence[VmMessage],
    domains: Sequence[Domain],
    processes: Sequence[QemuProcess],
    given: Sequence[GivenVm],
    apps: Sequence[AppMessage] = (),
) -> list[GivenVm]:
    """One configuration for each VM whose refusals alone were pasted, with the lines that they name.

    `apps`: a tty that QEMU could not open is among what programs said.
    """
    shown = {one.name for one in domains if one.live or one.next} | {one.name for one in processes}
    shown |= {one.name for one in given}
    found: dict[str | None, GivenVm] = {}
    lines = [(message.vm, _line(message)) for message in messages] + [
        (None, _tty(app.text)) for app in apps if not app.over
    ]
    for vm, one in lines:
        if one is None or vm in shown or (vm is None and shown):
            continue
        old = found.get(vm)
        found[vm] = one if old is None else _both(old, one)
    return list(found.values())


def named(given: Sequence[GivenVm], messages: Sequence[VmMessage]) -> list[GivenVm]:
    """A piece of configuration without a name is that of the only VM that the errors name."""
    names = {one.vm for one in messages if one.vm is not None} - {one.name for one in given}
    nameless = [one for one in given if one.name is None]
    if len(names) != 1 or len(nameless) != 1:
        return list(given)
    return [replace(one, name=next(iter(names))) if one.name is None else one for one in given]


def _both(old: GivenVm, new: GivenVm) -> GivenVm:
    """The same VM's lines of both, each once; libusb names a device by its node where QEMU does by numbers."""
    return GivenVm(
        name=old.name,
        manager="libvirt" if "libvirt" in (old.manager, new.manager) else old.manager,
        origin=ERROR,
        arguments=_each_once([*old.arguments, *new.arguments]),
        hostdevs=[*old.hostdevs, *(one for one in new.hostdevs if one not in old.hostdevs)],
        pci=[*old.pci, *(one for one in new.pci if one not in old.pci)],
        ttys=[*old.ttys, *(one for one in new.ttys if one not in old.ttys)],
    )


def _each_once(arguments: Sequence[UsbHostArg]) -> list[UsbHostArg]:
    numbered = {(one.bus, one.address) for one in arguments if one.address is not None}
    found: list[UsbHostArg] = []
    for one in arguments:
        node = _NODE.fullmatch(one.node or "")
        if one not in found and not (node and (int(node[1]), int(node[2])) in numbered):
            found.append(one)
    return found


def _line(message: VmMessage) -> GivenVm | None:
    data = message.data
    if message.kind in _OF_LIBVIRT:
        vid, pid = _hex(data.get("vid")), _hex(data.get("pid"))
        bus, address = _number(data.get("bus")), _number(data.get("address"))
        if message.kind == "libvirt-several":
            bus, address = None, None  # in the live configuration of an earlier start only
        if (vid is None or pid is None) and (bus is None or address is None):
            return None
        line = HostdevUsb(vid=vid, pid=pid, bus=bus, address=address)
        return GivenVm(name=message.vm, manager="libvirt", origin=ERROR, hostdevs=[line])
    if message.kind == "option-refused":
        option = UsbHostArg(
            vid=data.get("vid"), pid=data.get("pid"), bus=_number(data.get("bus")), address=_number(data.get("address"))
        )
        return GivenVm(name=message.vm, manager="qemu", origin=ERROR, arguments=[option])
    if message.kind == "id-refused":  # which were meant as hexadecimal digits
        ids = {match["key"]: match["id"].lower() for match in _ID.finditer(message.text)}
        option = UsbHostArg(vid=ids.get("vendor"), pid=ids.get("product"))
        return GivenVm(name=message.vm, manager="qemu", origin=ERROR, arguments=[option])
    if match := _DEVICE.search(message.text):
        read = qemu_args.parse(["qemu", "-device", match["words"]])
        if read.usb or read.pci:
            return GivenVm(name=message.vm, manager="qemu", origin=ERROR, arguments=read.usb, pci=read.pci)
    if address_ := qemu_args.pci_address(data.get("pci", "")):
        return GivenVm(name=message.vm, manager="qemu", origin=ERROR, pci=[PciArg(address=address_)])
    bus, address = _number(data.get("bus")), _number(data.get("address"))
    if message.kind in ("no-such-device", "open-failed") and bus is not None and address is not None:
        line_ = UsbHostArg(bus=bus, address=address)
        return GivenVm(name=message.vm, manager="qemu", origin=ERROR, arguments=[line_])
    node = data.get("path", "") if message.kind in _DENIALS else data.get("node", "")
    if message.kind in ("open-failed", "node-refused", *_DENIALS) and _NODE.fullmatch(node):
        manager = "libvirt" if message.kind in _DENIALS else "qemu"  # whose profiles and labels these are
        return GivenVm(name=message.vm, manager=manager, origin=ERROR, arguments=[UsbHostArg(node=node)])
    return None


def _tty(text: str) -> GivenVm | None:
    """The line of a character device: `-chardev serial,id=gps,path=/dev/ttyACM0: Could not open …`."""
    match = _TTY.search(text)
    read = qemu_args.parse(["qemu", f"-{match['option']}", match["words"]]) if match else None
    if read is None or not read.ttys:
        return None
    # libvirt gives its character devices such names (src/qemu/qemu_alias.c)
    manager = "libvirt" if match and re.search(r"\bid=charserial\d", match["words"]) else "qemu"
    return GivenVm(name=None, manager=manager, origin=ERROR, ttys=read.ttys)


def _hex(text: str | None) -> str | None:
    return text.lower().zfill(4) if text and int(text, 16) else None


def _number(text: str | None) -> int | None:
    return int(text) if text and text.isdecimal() and int(text) else None  # a bus of QEMU's has a name
