"""Which processes hold an adapter's nodes, and what they are for."""

from __future__ import annotations

import re
from typing import Any

from msgspec import UNSET

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import Handle, Node
from radiocheck.evidence.usb import UsbDevice

from .bound import count
from .context import USBFS_MAJOR, Context
from .held import all_ttys, device_ttys, usb_minor
from .view import HolderFacts

# Programs by their comm (15 characters at most) that open serial ports for a purpose of their own.
PROGRAMS = {
    "ModemManager": "modem-prober",
    "brltty": "braille",
    "gpsd": "gps",
    "agetty": "console",
    "getty": "console",
    "login": "console",
    "fwupd": "firmware-updater",
    "screen": "terminal",
    "minicom": "terminal",
    "picocom": "terminal",
    "tio": "terminal",
    "cu": "terminal",
    "cat": "terminal",
    "head": "terminal",
    "tail": "terminal",
    "dd": "terminal",
    "stty": "terminal",
    "hexdump": "terminal",
    "xxd": "terminal",
}
_RECEIVER = re.compile(r"\b(?:gps|gnss|glonass|navigation)\b", re.IGNORECASE)


def is_receiver(device: UsbDevice | None) -> bool:
    """Whether it calls itself a receiver for satellites."""
    words = (device.product, device.called) if device is not None else ()
    return any(isinstance(text, str) and _RECEIVER.search(text) for text in words)


def holders(context: Context, device: UsbDevice | None, node: Node | None) -> dict[str, Any]:
    """The facts `holders`, `all_holders_seen` and `tty_holders`, as far as it could be looked at."""
    if not known(context.evidence.handles):
        return {}
    found: list[HolderFacts] = []
    on_tty: set[tuple[object, ...]] = set()
    for handle in context.evidence.handles.open:
        where = None
        if node is not None and (handle.major, handle.minor) == (node.major, node.minor) and not handle.deleted:
            where = "tty"
            on_tty.add((handle.command, handle.unit, handle.container))
        elif (
            device is not None
            and (handle.major, handle.minor) == (USBFS_MAJOR, usb_minor(device))
            and not handle.deleted
        ):
            where = "usb"
        if where is not None:
            found.append(_holder(context, device, handle, where))
    told = device is None or all_ttys(device, context.evidence)
    node_unknown = not told or (device is not None and bool(device_ttys(device)) and node is None)
    if context.all_handles_seen() and not node_unknown:
        return {"holders": found, "all_holders_seen": True, "tty_holders": len(on_tty)}
    return {"holders": [*found, HolderFacts()], "tty_holders": count(len(on_tty), whole=False)}


def _holder(context: Context, device: UsbDevice | None, handle: Handle, where: str) -> HolderFacts:
    kind = "hypervisor" if handle.hypervisor is True else PROGRAMS.get(handle.command, "other")
    if kind == "gps" and is_receiver(device):
        kind = "receiver"  # where it should be
    user = context.user
    return HolderFacts(
        command=handle.command,
        pid=handle.pid,
        user=handle.user,
        kind=kind,
        node=where,
        container=handle.container,
        unit=handle.unit,
        same_user=handle.uid == user.uid if known(user) and known(handle.uid) and known(user.uid) else UNSET,
    )
