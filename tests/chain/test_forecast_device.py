"""The reasons of a USB device line; its outcomes are in `test_forecast`."""

from __future__ import annotations

import pytest

from radiocheck.chain.context import context
from radiocheck.chain.forecast_device import pick_device
from radiocheck.chain.subjects import subjects
from radiocheck.evidence.record import Evidence

from .restarts import RESTARTS


def reason(evidence: Evidence) -> str:
    """Why, for the first line of the stick at a restart of the VM."""
    found = subjects(evidence)
    subject, item = next((one, item) for one in found for item in one.items if item.in_next is True)
    return pick_device(context(evidence, found), subject, item)[0].why


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("libvirt, IDs, alone", "nothing else here has 1209:7a01"),
        ("libvirt, IDs, twins", "2 devices have 1209:7a01"),
        ("libvirt, IDs, optional, not there", "nothing on the bus has 1209:7a99; the line is optional"),
        ("libvirt, number", "the number is given anew at every enumeration"),
        ("libvirt, locked by authorized", "authorized is 0"),
        ("QEMU, IDs, twins", "QEMU takes the first in its list"),
        ("QEMU, IDs twice, twins", "2 lines for the 2 devices"),
        ("QEMU, IDs, not there", "takes it when it appears"),
        ("QEMU, socket on any bus", "one device sits in a port 2"),
        ("QEMU, socket, moved", "nothing is plugged into port 2 of bus 1"),
        ("QEMU, may not open the node", "may not open the adapter's node"),
    ],
)
def test_reasons(name: str, words: str) -> None:
    """Each outcome is told with the values that decide it."""
    assert words in reason(RESTARTS[name][0])
