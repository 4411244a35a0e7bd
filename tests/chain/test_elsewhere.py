"""Adapters on other controllers than the one that a VM is given."""

from __future__ import annotations

from typing import Any

from msgspec import UNSET, structs

from radiocheck.chain.context import context
from radiocheck.chain.elsewhere import elsewhere
from radiocheck.chain.items import items
from radiocheck.chain.subjects import subjects
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Handles

from . import controllers as c
from . import machines as m
from .test_judge import two


def seen(evidence: Evidence) -> dict[str, Any]:
    """What is elsewhere for the first line of the first VM."""
    found = subjects(evidence)
    absent = next(one for one in found if one.device is None)
    return elsewhere(context(evidence, found), absent, items(evidence)[0])


def bare(**change: Any) -> Evidence:
    """`hearth` is given a controller without an adapter; the stick is on the other one."""
    return c.off(c.asks(c.FAR), **{"controllers": [c.controller(), c.controller(c.FAR, vfio=True)], **change})


def test_one_idle_adapter() -> None:
    """It is named with its controller, and nothing has it open."""
    assert seen(bare()) == {"elsewhere": [f"{c.HOME} (Lindenhof Mesh stick A1B2C3)"], "elsewhere_idle": True}


def test_an_adapter_in_use() -> None:
    """A program with its tty open makes it not idle, whether or not every process could be looked into."""
    for unread in (0, 30):
        used = Handles(open=[m.open_tty("mesh-server")], unread=unread)
        assert seen(bare(handles=used))["elsewhere_idle"] is False


def test_several_adapters() -> None:
    """With two nobody can tell which one was meant."""
    told = seen(bare(**two()))
    assert (len(told["elsewhere"]), told["elsewhere_idle"]) == (2, False)


def test_what_was_not_seen() -> None:
    """Without all processes, ttys or VMs it is not known whether the adapter is idle, or free."""
    assert "elsewhere_idle" not in seen(bare(handles=Handles(open=[], unread=30)))
    assert "elsewhere_idle" not in seen(bare(ttys=UNSET))
    assert seen(bare(qemu=UNSET)) == {}


def test_an_adapter_on_no_pci_controller() -> None:
    """A controller without a PCI address cannot be given away, so it is not told."""
    evidence = bare(usb=[m.root_hub(), m.stick(controller="dummy_hcd.0")])
    assert seen(evidence) == {"elsewhere": [], "elsewhere_idle": False}
    lost = structs.replace(evidence, usb=[m.root_hub(), m.stick(controller=UNSET)])
    assert seen(lost) == {}
