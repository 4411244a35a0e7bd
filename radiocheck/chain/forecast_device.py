"""What a USB device line picks out at the next restart: by its selector, and by who reads it.

QEMU: hw/usb/host-libusb.c, usb_host_realize and usb_host_auto_check.  libvirt:
src/hypervisor/virhostdev.c, virHostdevFindUSBDevice and virHostdevPrepareUSBDevices.
"""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import UsbDevice

from .adapters import is_hub, label
from .context import Context
from .expected import Expected, Pair, is_given, same, selection, unseen
from .facts_device import may_open_now
from .item import Item, matches
from .start_order import arrivals
from .subjects import Subject


def pick_device(context: Context, subject: Subject, item: Item) -> Pair:
    """Both restarts, as if the VM is started and no other VM asks for the device."""
    if not known(context.devices) or not context.whole("usb"):
        return unseen("usb"), unseen("usb")
    if item.unresolved or (item.selector == "nothing" and item.manager != "qemu"):
        nowhere = unseen(why=f"nothing here shows what `{item.text}` leads to")
        return nowhere, nowhere
    devices = [one for one in context.devices.values() if not is_hub(one)]
    vm, host = _picked(context, subject, item, devices)
    return _allowed(context, subject, item, vm), _allowed(context, subject, item, host)


def _picked(context: Context, subject: Subject, item: Item, devices: Sequence[UsbDevice]) -> Pair:
    device = subject.device
    if item.selector == "nothing":
        return same(
            "only-if-alone", f"without a selector QEMU takes the first of the {len(devices)} devices it may open"
        )
    found = [one for one in devices if matches(item, one) is True]
    unsure = any(not known(matches(item, one)) for one in devices)
    what = selection(item)
    if item.selector == "ids" and item.manager == "libvirt" and len(found) > 1:
        return same(
            "refused", f"{len(found)} devices have {what}, and libvirt does not choose (“Multiple USB devices”)"
        )
    if item.pinned:
        host = Expected("by-chance", _number_at_boot(context, item, device))
        return unseen("usb") if unsure else _by_number(item, device, found), host
    if unsure:
        return unseen("usb"), unseen("usb")
    if not found:
        return _nothing_there(item, device)
    if device not in found:
        return same("does-not-come-back", f"{what} is {label(found[0])} now, and {item.vm} gets that")
    if item.selector == "port-any-bus":
        there = "one device sits" if len(found) == 1 else f"{len(found)} devices sit"
        return same("only-if-alone", f"{there} in a {what}, and QEMU takes the first on whatever bus")
    if item.selector == "port":
        stays = f"it is in {what}, and whatever is plugged in there goes to {item.vm}"
        return Expected("comes-back", stays), Expected("comes-back", stays + _bus_number(context))
    if len(found) > 1:
        return _among_several(subject, item, found)
    return same("comes-back", f"nothing else here has {what}")


def _among_several(subject: Subject, item: Item, found: Sequence[UsbDevice]) -> Pair:
    """QEMU opens the first in libusb's order that it has not open already, once for each line."""
    lines = [
        one for one in subject.items if one.vm == item.vm and one.kind == "device" and one.selector == item.selector
    ]
    ids = selection(item)
    if len(lines) >= len(found):
        return same("comes-back", f"{item.vm} has {len(lines)} lines for the {len(found)} devices with {ids}")
    return same("only-if-alone", f"{len(found)} devices have {ids}, and QEMU takes the first in its list")


def _by_number(item: Item, device: UsbDevice | None, found: Sequence[UsbDevice]) -> Expected:
    """A line with a device number, while the host stays up."""
    what = selection(item)
    if device is not None and device in found:
        why = f"it is {what} as long as it stays plugged in; the number is given anew at every enumeration"
        return Expected("comes-back", why)
    if found:
        return Expected("does-not-come-back", f"{what} is {label(found[0])} now, and {item.vm} gets that")
    return _nothing_there(item, device)[0]


def _nothing_there(item: Item, device: UsbDevice | None) -> Pair:
    """Nothing answers to the line: who reads it decides whether the VM starts at all."""
    what = selection(item)
    if item.selector == "ids":
        gone = f"nothing on the bus has {what}"
    elif item.pinned:
        gone = f"nothing is {what} now"
        if device is not None and known(device.bus) and known(device.devnum):
            gone += f" (the adapter is bus {device.bus} device {device.devnum})"
    else:
        gone = f"nothing is plugged into {what}"
    if item.manager == "libvirt":
        if item.startup == "optional":
            return same("does-not-come-back", f"{gone}; the line is optional, so {item.vm} starts without it for good")
        return same("refused", f"{gone}, and libvirt does not start {item.vm} without it")
    if item.manager == "qemu" and item.selector in ("address", "node"):
        said = f"failed to find host usb device {item.bus}:{item.address}"
        if item.selector == "node":
            said = f"failed to open /dev/bus/usb/{item.bus or 0:03}/{item.address or 0:03}"
        return same("refused", f"{gone}, and QEMU ends at once (“{said}”)")
    if item.manager == "qemu":
        return same("does-not-come-back", f"{gone}; QEMU starts without it, and takes it when it appears")
    return same("does-not-come-back", gone)


def _number_at_boot(context: Context, item: Item, device: UsbDevice | None) -> str:
    """Why a number is no name across boots, with what it was given at this one."""
    why = f"bus and device number are given anew at every boot, and the line asks for {selection(item)}"
    found = arrivals(context, device) if device is not None else None
    if found and known(found) and device is not None:
        first = min(found, key=lambda stay: stay.began or 0.0)
        if first.number is not None:
            why += f" (at this boot the adapter got bus {first.bus} device {first.number})"
    if item.manager == "libvirt" and item.startup != "optional":
        return f"{why}; without a match libvirt does not start {item.vm}"
    if item.manager == "qemu" and item.selector in ("address", "node"):
        return f"{why}; without a match QEMU ends at once"
    return why


def _bus_number(context: Context) -> str:
    """Buses are numbered in the order in which controllers answer (systemd, udev-builtin-path_id.c, on USB)."""
    controllers = context.evidence.controllers
    if known(controllers) and context.whole("controllers") and len(controllers) == 1:
        return ""
    return ", as long as the bus keeps its number, which another USB controller may change"


def _allowed(context: Context, subject: Subject, item: Item, base: Expected) -> Expected:
    """The same, with what keeps a VM from using a device that its line picks out."""
    if base.outcome not in ("refused", None):
        base = _with_bus(context, item, base)
    device = subject.device
    if device is None or not base.hopeful:
        return base
    if not known(device.authorized):
        return unseen("usb")
    if not device.authorized:
        why = "the host keeps it locked (authorized is 0) until somebody lets it in"
        return Expected("does-not-come-back", why)
    # libvirt hands the node over at each start; a plain QEMU opens it with the rights of its own account.
    picked = True if item.selector == "nothing" else matches(item, device)
    if item.manager != "qemu" or item.process is None or item.process.uid == 0 or picked is False:
        return base
    may = may_open_now(context, item, device)
    if not known(may) or not known(picked):
        return unseen("usb", "usb_nodes", "qemu")
    if may:
        return base
    user = item.process.user if isinstance(item.process.user, str) else f"uid {item.process.uid}"
    why = f"its QEMU runs as {user}, which may not open the adapter's node"
    return Expected("refused" if item.selector in ("address", "node") else "does-not-come-back", why)


def _with_bus(context: Context, item: Item, base: Expected) -> Expected:
    """A VM without a USB controller is refused; one that runs with this line has some, whatever was seen of it."""
    runs = (item.running, item.in_live)
    if (item.running is True and item.in_live is True) or item.usb_bus is True:
        return base
    if item.usb_bus is False and any(one is False for one in runs):
        return Expected("refused", f"{item.vm} has no USB controller to put it on")
    return base if is_given(context, item) else unseen("domains", "qemu")
