"""What a paste speaks of at all, where a line alone does not tell."""

from __future__ import annotations

import re
from collections.abc import Iterable

from radiocheck.pastes.line import Line

_VM = re.compile(
    r"qemu|\bkvm\b|virsh|libvirt|virtqemud|hostdev|usb-host|\bVM\b|virtual machine|vfio"
    r"|^\W{0,8}(?:usb|hostpci)\d: ",
    re.IGNORECASE,
)
_READ = 2_000  # characters of a line that are looked at


def vms(lines: Iterable[Line]) -> bool:
    """Whether virtual machines come up anywhere: libusb says the same to QEMU as to every other program."""
    return any(_VM.search(line.text[:_READ]) or (line.prompt and _VM.search(line.prompt[:_READ])) for line in lines)
