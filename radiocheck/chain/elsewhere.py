"""Whether an adapter sits on another controller than the one that a VM is given."""

from __future__ import annotations

import re
from typing import Any

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import UsbDevice

from .adapters import label
from .context import Context
from .held import is_held
from .item import Item
from .subjects import Subject

_PCI = r"[0-9a-f]{4,8}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7]"


def elsewhere(context: Context, subject: Subject, item: Item) -> dict[str, Any]:
    """Adapters that no VM asks for on other PCI controllers; and whether there is just one, which nothing holds."""
    free = context.free_adapters()
    if not known(free):
        return {}
    devices = [one.device for one in free if one.device is not None and one is not subject]
    if not all(known(device.controller) for device in devices):
        return {}
    others = [device for device in devices if _on_other(device, item)]
    whole = context.whole("usb")
    facts: dict[str, Any] = {}
    if others or whole:
        facts["elsewhere"] = [f"{device.controller} ({label(device)})" for device in others]
    held = any(is_held(context.evidence, device) for device in others)
    if held or len(devices) > 1 or (whole and len(others) != 1):
        facts["elsewhere_idle"] = False
    elif not whole:
        pass
    elif context.all_handles_seen() and context.whole("ttys"):
        facts["elsewhere_idle"] = True
    return facts


def _on_other(device: UsbDevice, item: Item) -> bool:
    name = device.controller
    return isinstance(name, str) and name != item.controller and re.fullmatch(_PCI, name) is not None
