"""Forwarded ttys: by a name that moves, or by one that stays."""

from __future__ import annotations

from msgspec import UNSET, structs

from radiocheck.chain.context import context
from radiocheck.chain.expected import Pair
from radiocheck.chain.forecast_forwarded import pick_forwarded
from radiocheck.chain.subjects import subjects
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Link

from . import machines as m
from .restarts import serial


def picked(evidence: Evidence) -> Pair:
    """Both restarts of the first line."""
    found = subjects(evidence)
    subject = next(one for one in found if one.items)
    return pick_forwarded(context(evidence, found), subject, subject.items[0])


def test_a_number_is_open_to_chance_whatever_it_is_now() -> None:
    """At a boot ttyACM numbers go by order of appearance, so that the present tells nothing of them."""
    assert picked(serial("/dev/ttyACM0"))[1].outcome == "only-if-alone"
    assert picked(serial("/dev/ttyACM0", ttys=UNSET))[1].outcome == "only-if-alone"
    assert picked(serial("/dev/ttyACM3"))[1].outcome == "by-chance"


def test_a_name_by_socket() -> None:
    """A by-path name stays with the socket."""
    path = "/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0"
    evidence = serial(path, links=[Link(path=path, target="ttyACM0", claimants=["ttyACM0"])])
    vm, host = picked(evidence)
    assert vm.outcome == host.outcome == "comes-back"
    assert "socket" in vm.why


def test_another_adapter_has_the_name() -> None:
    """A name that leads to the other stick gives the VM that one."""
    other = m.stick("1-3", 5, "D4E5F6", interfaces=[m.interface("1-3:1.0", ttys=("ttyACM1",))])
    evidence = serial(
        m.BY_ID,
        usb=[m.root_hub(), m.stick(), other],
        ttys=[m.tty(), m.tty("ttyACM1", 1, "1-3:1.0")],
        links=[Link(path=m.BY_ID, target="ttyACM1", claimants=["ttyACM1"])],
    )
    found = subjects(evidence)
    first = next(one for one in found if one.device is not None and one.device.serial == "A1B2C3")
    line = next(item for one in found for item in one.items)
    vm, host = pick_forwarded(context(evidence, found), structs.replace(first, items=(line,)), line)
    assert vm.outcome == host.outcome == "does-not-come-back"
    assert "D4E5F6" in vm.why
