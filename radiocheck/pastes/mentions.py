"""What a paste speaks of at all, where a line alone does not tell."""

from __future__ import annotations

import re
from collections.abc import Iterable

from radiocheck.pastes.line import Line

_WORDS = "qemu kvm virsh libvirt virtqemud hostdev usb-host vfio".split()
_OTHER = re.compile(r"\bVMs?\b|virtual machine|^\W{0,8}(?:usb|hostpci)\d: ")
_READ = 2_000  # characters of a line that are looked at


def vms(lines: Iterable[Line]) -> bool:
    """Whether virtual machines come up anywhere: libusb says the same to QEMU as to every other program."""
    return any(_speaks(line.text[:_READ]) for line in lines)


def _speaks(text: str) -> bool:
    small = text.lower()
    return any(word in small for word in _WORDS) or _OTHER.search(text) is not None
