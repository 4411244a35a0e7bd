"""Whole controllers: who binds them to VFIO decides, and is not guessed."""

from __future__ import annotations

from msgspec import UNSET, structs

from radiocheck.chain.context import context
from radiocheck.chain.expected import Pair
from radiocheck.chain.forecast_controller import BY_HAND, MANAGED, pick_controller
from radiocheck.chain.items import items
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.vm import Domain, GivenVm, PciArg

from .restarts import PCI, whole


def picked(evidence: Evidence) -> Pair:
    """Both restarts of the first line."""
    return pick_controller(context(evidence, []), items(evidence)[0])


def test_an_old_capture_does_not_say_who_binds_it() -> None:
    """Without `managed` neither restart is known, unless the controller is bound already."""
    evidence = whole(managed=True, vfio=False)
    assert isinstance(evidence.domains, list)
    domain: Domain = evidence.domains[0]
    assert domain.next
    asks = structs.replace(domain.next, pci=[PciArg(address=PCI, managed=UNSET)])
    vm, host = picked(structs.replace(evidence, domains=[structs.replace(domain, next=asks)]))
    assert (vm.outcome, vm.why, vm.lacks) == (None, MANAGED, ("domains",))
    assert host == vm


def test_by_hand_the_boot_is_open() -> None:
    """What binds it at boot stands in no evidence (kernel parameters, scripts)."""
    vm, host = picked(whole(managed=False, vfio=True))
    assert vm.outcome == "comes-back"
    assert (host.outcome, host.why) == (None, BY_HAND)


def test_nothing_is_there() -> None:
    """An address without a PCI function is refused."""
    evidence = structs.replace(whole(managed=True, vfio=False), pci_functions=["0000:00:02.0"])
    assert [one.outcome for one in picked(evidence)] == ["refused", "refused"]


def test_xen_has_its_own_way() -> None:
    """VFIO's conditions are not Xen's."""
    given = GivenVm(name="hearth", manager="xen", origin="hearth.cfg", pci=[PciArg(address=PCI)])
    evidence = structs.replace(whole(managed=True, vfio=False, iommu_group=None), domains=[], given_vms=[given])
    assert [one.outcome for one in picked(evidence)] == [None, None]
    assert "xen-pciback" in picked(evidence)[0].why
