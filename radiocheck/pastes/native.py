"""Whether a paste has to do with a VM at all.

Nobody pastes the list of VMs that they do not have.  When neither a program's output nor
a word in the paste speaks of one, the adapter is taken to be used on the machine itself;
the answer says that this was taken for granted.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from .line import Line
from .piece import Piece

_OF_VMS = frozenset({"qemu", "domain", "given", "vm_message"})
_WORDS = re.compile(
    r"\b(?:qemu|kvm|libvirtd?|virsh|vfio|virtio|hypervisor|vms?|guest|hostdev|usbredir|xen|vhci|iommu|virtualbox"
    r"|pass(?:ed|ing)?[ -]?through|virtual machines?|virtuali[sz]\w{1,9}|vmware|lxc|containers?|docker)\b",
    re.IGNORECASE,
)
# The kernel speaks of these on every machine.
_KERNEL = re.compile(r"^.{0,60}\[\s*\d+\.\d+\]|\bkernel: ")


def is_native(pieces: Sequence[Piece], rows: Sequence[Line]) -> bool:
    """Nothing in the paste has to do with a VM."""
    if any(piece.kind in _OF_VMS for piece in pieces):
        return False
    if any(piece.kind == "handle" and str(piece.value.get("command", "")).startswith("qemu") for piece in pieces):
        return False
    # A loaded module or a group of that name says nothing of this adapter.
    listed = {number for piece in pieces if piece.kind in ("module", "user") for number in piece.lines}
    return not any(_WORDS.search(row.text) and not _KERNEL.match(row.text) for row in rows if row.number not in listed)
