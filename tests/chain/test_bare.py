"""Controllers that are to go to a VM, and on which the host sees no adapter."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET

from radiocheck.chain.bare import is_bare
from radiocheck.chain.item import Item
from radiocheck.evidence.serial import Handles

from . import controllers as c
from . import machines as m

LINE = Item(
    vm="hearth", manager="libvirt", kind="controller", selector="controller", text="", controller=c.FAR, running=False
)
USED = Handles(open=[m.open_tty("mesh-server")], unread=0)


@pytest.mark.parametrize(
    ("change", "beside"),
    [
        ({"handles": USED}, True),  # the host's program has the adapter: the VM gets the controller for something else
        ({}, False),  # nobody has it, so it may be the one that was meant
        ({"handles": Handles(open=[], unread=30)}, True),
        ({"handles": USED, "controllers": [c.away(c.FAR)]}, False),  # the host cannot see what is on it
        ({"handles": USED, "controllers": UNSET}, False),
        ({"handles": USED, "controllers": [c.controller()]}, False),  # no such controller
    ],
)
def test_a_controller_without_an_adapter(change: dict[str, Any], beside: bool) -> None:
    """It is passed over only where the host sees it, and no idle adapter is in question."""
    evidence = c.off(**{"controllers": [c.controller(c.FAR)], **change})
    assert is_bare(LINE, evidence, [m.stick()]) is beside


def test_two_free_adapters() -> None:
    """With two nobody can tell that one of them was meant."""
    assert is_bare(LINE, c.off(controllers=[c.controller(c.FAR)]), [m.stick(), m.stick("1-3", 5)]) is True
