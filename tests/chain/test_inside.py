"""When a machine is taken for a VM that has its adapters from its host."""

from __future__ import annotations

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.inside import emulated, inside
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.vm import GivenVm

from . import guests as g
from . import machines as m

HEARTH = g.hearth()


def with_host(**change: object) -> Evidence:
    """The VM with another word about itself."""
    return g.hearth(host=g.host_of(**change))


@pytest.mark.parametrize(
    ("evidence", "expected"),
    [
        (HEARTH, True),
        (with_host(container="podman"), True),
        (m.native(), False),
        (with_host(hypervisor=True), False),
        (with_host(virtualisation=None), False),
        (with_host(virtualisation=UNSET), UNSET),
        (with_host(hypervisor=UNSET), UNSET),
        (g.hearth(host=UNSET), UNSET),
        (g.hearth(qemu=[m.process()]), False),
        (g.hearth(domains=[m.domain(next=m.definition())]), False),
        (g.hearth(given_vms=[GivenVm(name="hearth", manager="qemu", origin="hearth.args")]), False),
        (g.hearth(qemu=UNSET, domains=UNSET), True),
    ],
)
def test_who_is_inside(evidence: Evidence, expected: object) -> None:
    """Virtualised without programs that run VMs; a nested hypervisor is a host; what is not told stays open."""
    assert inside(evidence) is expected


@pytest.mark.parametrize(
    ("vid", "pid", "expected"),
    [("1b36", "000d", True), ("1033", "0194", True), ("8086", "2934", True), ("1912", "0014", False)],
)
def test_controllers_that_qemu_makes(vid: str, pid: str, expected: bool) -> None:
    """qemu-xhci, nec-usb-xhci and the ICH9 companions, as `info pci` of QEMU 7.2 shows them; a real card is none."""
    assert emulated(g.controller(vid=vid, pid=pid)) is expected
    assert emulated(structs.replace(g.controller(), vid=UNSET)) is UNSET
