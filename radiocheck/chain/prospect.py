"""What a host without any VM could give to one: the question before the installation."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.usb import Controller, UsbDevice

from .adapters import label
from .carried import carried
from .context import Context
from .facts_controller import still_driven

MOST = 3  # controllers that are told of; a server can have a dozen
NO_IOMMU = (
    "No VM can be given a whole USB controller here: the kernel has set up no IOMMU (VT-d or AMD-Vi in the firmware "
    "setup; on an Intel machine also `intel_iommu=on` on the kernel command line). A single USB device needs none."
)


def prospects(context: Context) -> list[str]:
    """Which USB controllers could go to a VM whole, and what that would cost; only from what was seen."""
    evidence = context.evidence
    if not _could_have_vms(context) or not known(evidence.controllers):
        return []
    hosts = [one for one in evidence.controllers if one.vfio is False and known(one.iommu_group)]
    all_seen = evidence.controllers and context.whole("controllers") and len(hosts) == len(evidence.controllers)
    if all_seen and all(one.iommu_group is None for one in hosts):
        return [NO_IOMMU]
    ranked = sorted(hosts, key=lambda one: (not _adapters(context, one), one.address))
    return [text for one in ranked if (text := _prospect(context, one))][:MOST]


def _could_have_vms(context: Context) -> bool:
    """A host with programs for VMs and without a VM.  Where something was not seen, there may be one."""
    evidence: Evidence = context.evidence
    none = context.whole("qemu") and not evidence.qemu and context.whole("domains") and not evidence.domains
    told = any(known(vms) and vms for vms in (evidence.given_vms, evidence.monitors))
    host = evidence.host
    outside = known(host) and host.hypervisor is True and host.container is None
    return none and not told and outside and context.inside is not True


def _adapters(context: Context, controller: Controller) -> list[UsbDevice]:
    """The adapters on a controller."""
    devices = [one.device for one in context.subjects if one.device is not None]
    return [device for device in devices if device.controller == controller.address]


def _prospect(context: Context, controller: Controller) -> str | None:
    """One controller in one sentence; None for what is not known, or is no matter of an adapter and not possible."""
    others = still_driven(controller, {controller.address})
    adapters = _adapters(context, controller)
    rest = carried(context, controller.address, *adapters)
    if not known(others) or not known(rest) or not known(controller.group):
        return None
    labels = [label(device) for device in adapters]
    if controller.iommu_group is None or others:
        why = f"shares its IOMMU group with {_listed(others)}" if others else "is in no IOMMU group"
        return f"{controller.address}, with {_listed(labels)}, cannot go to a VM whole: it {why}." if labels else None
    alone = "alone in its IOMMU group" if not controller.group else "its IOMMU group has nothing else in use"
    with_ = f"it carries {_listed(labels)} and " if labels else "it carries "
    return (
        f"A whole USB controller could be given to a VM: {controller.address} ({alone}; {with_}"
        f"{_listed(rest) if rest else 'nothing else' if labels else 'nothing now'})."
    )


def _listed(words: Sequence[str]) -> str:
    return ", ".join(words)
