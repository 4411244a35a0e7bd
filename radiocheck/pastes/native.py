"""On which machine a paste was made: the one that uses the adapter itself, the VM that has it, or a host of VMs.

Nobody pastes the list of VMs that they do not have.  When neither a program's output nor
a word in the paste speaks of one, the adapter is taken to be used on the machine itself.
A container uses its machine's own ports.  The answer says what was taken for granted.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from .line import Line
from .nodes import PORT
from .piece import Piece
from .speakers import KERNEL_OF_VMS, QEMU_VENDOR

_OF_VMS = frozenset({"qemu", "domain", "given", "vm_message"})
_WORDS = re.compile(
    r"\b(?:qemu|kvm|libvirtd?|virsh|vfio|virtio|hypervisor|vms?|guest|hostdev|usbredir|xen|vhci|iommu"
    r"|pass(?:ed|ing)?[ -]?through|virtual machines?|virtuali[sz]\w{1,9})\b",
    re.IGNORECASE,
)
# A container has its machine's own ports; people speak of its host, and of passing through, too.
_CONTAINER = re.compile(r"\b(?:lxc|docker|podman|containers?|compose|nspawn)\b", re.IGNORECASE)
_OF_BOTH = re.compile(r"\bpass(?:ed|ing)?[ -]?through\b|\bguests?\b", re.IGNORECASE)
_VM = r"(?:guests?(?: os| system)?|vms?|virtual machines?|gast(?:system)?)"
_IN_VM = re.compile(
    r"\b(?:in|inside|within|from|on|im|in der|dans) (?:the |my |a |this |that |der |dem |la )?"
    rf"(?:\w{{2,12}} )?{_VM}\b(?!')"
    rf"|\b{_VM}(?:'s)? (?:dmesg|log|journal|lsusb|side|kernel|sees|shows|says|output)\b"
    rf"|^\W{{0,6}}{_VM}\W{{0,4}}$",
    re.IGNORECASE,
)
_ON_HOST = re.compile(
    r"\b(?:on|from|auf|in) (?:the |my |this |dem |der )?(?:\w{2,12} )?(?:host|hypervisor)\b"
    r"|\b(?:host|hypervisor)(?:'s)? (?:dmesg|log|journal|lsusb|side|kernel|sees|shows|says|output|has)\b"
    r"|^\W{0,6}(?:host|hypervisor)\W{0,4}$",
    re.IGNORECASE,
)
# The client of a remote desktop hands a device of its own machine over (spice-gtk): what fails there, fails there.
_CLIENT = re.compile(r"\busbredir: Error|\bCould not redirect |USB device node ACL")
# The kernel speaks of these on every machine.
_KERNEL = re.compile(r"^.{0,60}\[\s*\d+\.\d+\]|\bkernel: ")


def where(pieces: Sequence[Piece], rows: Sequence[Line]) -> str | None:
    """`native`, `guest`, or None: a host of VMs, several machines, or not to be told."""
    if any(piece.kind in _OF_VMS for piece in pieces):
        return None
    if any(piece.kind == "handle" and str(piece.value.get("command", "")).startswith("qemu") for piece in pieces):
        return None
    if any(piece.kind == "app" and (piece.value.program or "").startswith("qemu") for piece in pieces):
        return None  # QEMU runs on hosts
    # A loaded module or a group of that name says nothing of this adapter.
    listed = {number for piece in pieces if piece.kind in ("module", "user") for number in piece.lines}
    told = [row for row in rows if row.number not in listed and not _KERNEL.match(row.text)]
    prose = [row.text[:500] for row in told]
    on_host = any(_ON_HOST.search(text) for text in prose)
    virtual = _is_virtual(pieces) or any(KERNEL_OF_VMS.search(row.text[:500]) for row in rows)
    if virtual or (not on_host and any(_IN_VM.search(text) for text in prose)):
        return "guest" if _shows_use(pieces) else None
    if any(piece.kind == "app" and _CLIENT.search(piece.value.text) for piece in pieces):
        return "native"
    if any(_CONTAINER.search(text) for text in prose):
        prose, on_host = [_OF_BOTH.sub("", text) for text in prose], False
    if not any(_WORDS.search(text) for text in prose) or (not on_host and _uses_tty(pieces)):
        return "native"
    return None


def _is_virtual(pieces: Sequence[Piece]) -> bool:
    """The machine said itself that it is a VM, or lists a device that only QEMU makes."""
    if any(piece.kind == "host" and piece.value.get("virtualisation") for piece in pieces):
        return True
    listed = [piece.value for piece in pieces if piece.kind == "device" and not piece.value.get("elsewhere")]
    return any(value.get("vid") == QEMU_VENDOR for value in listed)


def _shows_use(pieces: Sequence[Piece]) -> bool:
    """Something of the adapter was shown, from the machine that the prose speaks of."""
    return any(piece.kind in ("event", "device", "tty", "link", "app", "handle", "service") for piece in pieces)


def _uses_tty(pieces: Sequence[Piece]) -> bool:
    """A program on that machine tried to use a serial port."""
    return any(piece.kind == "app" and PORT.match(piece.value.path or "") for piece in pieces)
