"""What the next restart does to a whole USB controller that a VM is given."""

from __future__ import annotations

from radiocheck.evidence.absent import known
from radiocheck.evidence.usb import Controller

from .context import Context
from .expected import Expected, Pair, same, unseen
from .facts_controller import given_to, still_driven
from .item import Item

MANAGED = "whether libvirt binds it to VFIO itself (managed='yes') was not seen"
BY_HAND = "what binds it to VFIO at boot (vfio-pci.ids, a script) does not show here"


def pick_controller(context: Context, item: Item) -> Pair:
    """Both restarts, as if the VM is started and no other VM asks for the controller.

    Conditions of VFIO: Linux, Documentation/driver-api/vfio.rst.
    """
    evidence = context.evidence
    if context.whole("pci_functions") and item.controller not in (evidence.pci_functions or []):
        return same("refused", f"no PCI device is at {item.controller}, and {item.vm} does not start without it")
    if not known(evidence.controllers):
        return unseen("controllers"), unseen("controllers")
    mine = next((one for one in evidence.controllers if one.address == item.controller), None)
    if mine is None and not context.whole("controllers"):
        return unseen("controllers"), unseen("controllers")
    if mine is None:
        return same("refused", f"no USB controller is at {item.controller}, and {item.vm} does not start without it")
    if item.manager == "xen":
        at_start = unseen(why="whether Xen can give it away (xen-pciback, an IOMMU) does not show here")
        return at_start, at_start
    if not known(mine.iommu_group):
        return unseen("controllers"), unseen("controllers")
    if mine.iommu_group is None:
        return same("refused", f"{item.controller} is in no IOMMU group, so nothing can be given away")
    others = still_driven(mine, given_to(context, item.vm))
    if not known(others):
        return unseen("controllers"), unseen("controllers")
    if others:
        return same("refused", f"the host still drives {', '.join(others)} in the same IOMMU group")
    return _bound(mine, item)


def _bound(controller: Controller, item: Item) -> Pair:
    """Who binds it to VFIO: libvirt when it manages it, else somebody whom the evidence does not show."""
    why = f"the whole controller {item.controller} goes to {item.vm}, with whatever is plugged into it"
    if item.manager == "libvirt" and item.managed is True:
        return same("comes-back", f"{why}; libvirt binds it to VFIO itself")
    by_hand = MANAGED if item.manager == "libvirt" and not known(item.managed) else BY_HAND
    lacks = ("domains",) if by_hand == MANAGED else ()
    at_boot = unseen(*lacks, why=by_hand)
    if not known(controller.vfio):
        return unseen("controllers"), at_boot
    if controller.vfio:
        return Expected("comes-back", f"{why}; it is bound to VFIO and stays so"), at_boot
    if by_hand == MANAGED:
        return at_boot, at_boot
    driver = f"{controller.driver} of the host has it" if isinstance(controller.driver, str) else "nothing drives it"
    return Expected("refused", f"{driver}, and nothing binds it to VFIO when {item.vm} starts"), at_boot
