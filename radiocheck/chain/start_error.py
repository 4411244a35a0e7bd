"""What libvirt or QEMU said against a line of a VM's configuration: words that only a paste carries.

On a live machine the same words may be old; there the bus, the configuration and the
processes tell more, and nothing follows from the words.
"""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.vm import VmMessage

from .item import Item
from .mentioned import NODE
from .pasted import is_paste

# Kinds that say why a start, or an attachment, was refused; see radiocheck.sources.vm_log.KINDS.
ERRORS = frozenset(
    """
    no-such-device open-failed node-refused speed-mismatch no-usb-bus no-free-port libvirt-not-found libvirt-several
    libvirt-in-use group-not-viable vfio-not-bound vfio-refused vfio-no-memory no-iommu-group pci-in-use pci-missing
    apparmor-denied selinux-denied option-refused id-refused
    """.split()
)
# Of these those about a PCI function; libvirt names none when the host supports no passthrough at all.
_OF_CONTROLLERS = frozenset(
    "group-not-viable vfio-not-bound vfio-refused vfio-no-memory no-iommu-group pci-in-use pci-missing".split()
)


def start_error(evidence: Evidence, item: Item) -> VmMessage | UnsetType | None:
    """The newest refusal of a line; null: none, or a live machine."""
    if not is_paste(evidence):
        return None
    if item.kind == "forwarded":
        return _tty_error(evidence, item)
    messages = evidence.vm_messages
    if not known(messages):
        return UNSET
    found = [one for one in messages if one.kind in ERRORS and _concerns(one, item, evidence)]
    if found:
        # QEMU's own line may lack the reason that libusb gave just before.
        told = [one for one in found if one.kind == "node-refused" or one.data.get("strerror")]
        return told[-1] if told and found[-1].kind == "open-failed" else found[-1]
    return UNSET if "vm_messages" in evidence.partly else None


def _concerns(message: VmMessage, item: Item, evidence: Evidence) -> bool:
    if message.vm is not None and item.named and message.vm != item.vm:
        return False
    data = message.data
    if message.kind in _OF_CONTROLLERS:
        return item.kind == "controller" and (item.controller or "").endswith(data.get("pci", ""))
    if item.kind != "device":
        return False
    denied = message.kind.endswith("-denied")
    node = NODE.fullmatch(data.get("path" if denied else "node", ""))
    if denied and not node:
        return False
    bus, address = data.get("bus", ""), data.get("address", "")
    if node:
        bus, address = node[1], node[2]
    if address.isdigit() and int(address) and item.address is not None:
        return (item.bus, item.address) == (int(bus), int(address))
    vid, pid = data.get("vid", ""), data.get("pid", "")
    if vid and pid and item.vid is not None and item.pid is not None and int(vid, 16):
        return (int(vid, 16), int(pid, 16)) == (int(item.vid, 16), int(item.pid, 16))
    numbered = address.isdigit() and int(address) > 0
    if numbered and item.selector == "ids":
        return _has_number(item, bus, int(address), evidence)
    # Without a name of the device it is about the only line that the VM has here.
    return not (vid and int(vid, 16)) and not numbered


def _has_number(item: Item, bus: str, address: int, evidence: Evidence) -> bool:
    """Whether what has that number has the IDs of a line; if it was not shown, the only line must mean it."""
    devices = evidence.usb if known(evidence.usb) else []
    there = [one for one in devices if bus.isdigit() and (one.bus, one.devnum) == (int(bus), address)]
    if there:
        return any((one.vid, one.pid) == (item.vid, item.pid) for one in there)
    given = evidence.given_vms if known(evidence.given_vms) else []
    return sum(len(one.arguments) + len(one.hostdevs) for one in given) == 1


def _tty_error(evidence: Evidence, item: Item) -> VmMessage | UnsetType | None:
    """What QEMU said when it could not open the host's tty (chardev/char-serial.c, util/osdep.c)."""
    if not known(evidence.app_messages):
        return UNSET
    for one in reversed(evidence.app_messages):
        if one.path == item.tty and ("-chardev " in one.text or "-serial " in one.text):
            return VmMessage(vm=None, kind=f"tty-{one.kind}", text=one.text)
    return UNSET if "app_messages" in evidence.partly else None
