"""Whether the machine is a VM that has its adapters from its host."""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import Controller

# QEMU's USB controllers as `info pci` of QEMU 7.2 shows them.  1033:0194 exists as a card too.
_EMULATED = frozenset(
    {
        "1b36:000d",
        "1033:0194",
        "8086:24cd",
        "8086:293a",
        "8086:293c",
        *(f"8086:293{digit}" for digit in range(4, 10)),
        "8086:7020",
        "8086:7112",
        "106b:003f",
    }
)


def inside(evidence: Evidence) -> bool | UnsetType:
    """Virtualised, and nothing here runs VMs of its own.

    A VM that itself is a hypervisor is a host: its adapters go on to its own VMs.
    Absent when it could not be told.
    """
    runs = (evidence.qemu, evidence.domains, evidence.given_vms, evidence.monitors)
    if any(known(vms) and vms for vms in runs):
        return False
    if "guest" in evidence.taken.assumes:
        return True
    if not known(evidence.host):
        return UNSET
    virtual, hypervisor = evidence.host.virtualisation, evidence.host.hypervisor
    if virtual is None or hypervisor is True:
        return False
    return UNSET if not known(virtual) or not known(hypervisor) else True


def emulated(controller: Controller) -> bool | UnsetType:
    """Whether a VM's controller is one that QEMU makes, whose ports are no real sockets."""
    if not known(controller.vid) or not known(controller.pid):
        return UNSET
    return f"{controller.vid}:{controller.pid}" in _EMULATED
