"""Uninterruptible power supplies on USB, and the programs that speak of one without naming its node."""

from __future__ import annotations

import re
from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import UsbDevice

# Makers of supplies, and of the chips that many of them have (usb.ids, and the tables of nut(8)'s drivers; from memory)
_MAKERS = frozenset("0463 047c 051d 0592 0665 06da 075d 0764 09ae 09d6 0d9f 10af".split())
_NAME = re.compile(r"\bUPS\b|\buninterruptible\b", re.IGNORECASE)
_SPOKEN = re.compile(r"\b(?:usbhid-ups|nutdrv\w*|nut-driver|blazer_usb|apcupsd|HID UPS|UPS)\b")


def spoken_of(evidence: Evidence, devices: Sequence[UsbDevice]) -> UsbDevice | None:
    """The only supply among these devices, when a program could not use one and named no node."""
    messages = evidence.app_messages if known(evidence.app_messages) else []
    if not any(one.path is None and _SPOKEN.search(one.text) for one in messages):
        return None
    found = [one for one in devices if _is_supply(one)]
    return found[0] if len(found) == 1 else None


def _is_supply(device: UsbDevice) -> bool:
    words = (device.product, device.called)
    return device.vid in _MAKERS or any(isinstance(text, str) and _NAME.search(text) for text in words)
