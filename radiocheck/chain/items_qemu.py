"""What a QEMU process was told on its command line."""

from __future__ import annotations

import re
from typing import Any

from msgspec import UNSET
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.vm import QemuProcess, UsbHostArg

from .item import Item

NODE = re.compile(r"/dev/bus/usb/0*(\d+)/0*(\d+)")


def vm_name(process: QemuProcess) -> str:
    """A name for the VM of a process."""
    if isinstance(process.name, str):
        return process.name
    if process.pid > 0:
        return f"QEMU process {process.pid}"
    return "the VM in the paste" if process.pid >= -1 else f"VM {-process.pid} in the paste"


def common(process: QemuProcess) -> dict[str, Any]:
    """Fields that all lines of one process share."""
    return {
        "vm": vm_name(process),
        "manager": "libvirt" if process.libvirt is True else "qemu",
        "running": True,
        "autostart": None,
        "process": process,
        "in_live": True,
        # libvirt resolves what its XML says before it starts QEMU: the command line does not tell the next start.
        "in_next": UNSET if process.libvirt is True else True,
        "usb_bus": process.usb_bus,
    }


def device_line(process: QemuProcess, argument: UsbHostArg) -> Item:
    """The line of one USB device of a process."""
    item = replace(usb_host(argument), **common(process))
    return replace(item, missing=item.selector == "nothing") if process.libvirt is True else item


def of_process(process: QemuProcess) -> list[Item]:
    """The lines of one process's command line."""
    found = [
        Item(
            vm="",
            manager="",
            kind="controller",
            selector="controller",
            text=f"vfio-pci {pci.address}",
            controller=pci.address,
        )
        for pci in (process.pci if known(process.pci) else [])
    ]
    found += [
        Item(vm="", manager="", kind="forwarded", selector="tty", text=f"character device {tty.path}", tty=tty.path)
        for tty in (process.ttys if known(process.ttys) else [])
    ]
    devices = [device_line(process, argument) for argument in (process.usb if known(process.usb) else [])]
    return devices + [replace(item, **common(process)) for item in found]


def usb_host(argument: UsbHostArg) -> Item:
    """Selector by QEMU's usb_host_realize (hw/usb/host-libusb.c): hostdevice= comes before all others."""
    bus, address = argument.bus, argument.address
    if argument.node is not None:
        selector = "node"
        if match := NODE.fullmatch(argument.node):
            bus, address = int(match[1]), int(match[2])
    elif argument.address is not None:
        selector = "ids-address" if argument.vid or argument.pid else "address"
    elif argument.port is not None:
        selector = "port" if argument.bus is not None else "port-any-bus"
    elif argument.vid is not None or argument.pid is not None:
        selector = "ids"
    else:
        selector = "nothing"
    words = [
        f"{name}={value}"
        for name, value in (
            ("vendorid", argument.vid),
            ("productid", argument.pid),
            ("hostbus", argument.bus),
            ("hostaddr", argument.address),
            ("hostport", argument.port),
            ("hostdevice", argument.node),
        )
        if value is not None
    ]
    pinned = selector in ("address", "node", "ids-address")
    return Item(
        vm="",
        manager="",
        kind="device",
        selector=selector,
        text="usb-host " + (", ".join(words) or "without a selector"),
        vid=argument.vid,
        pid=argument.pid,
        bus=bus,
        address=address,
        path=argument.port,
        live_bus=bus if pinned else None,
        live_address=address if pinned else None,
    )
