"""A device that only an open node ties to a VM: attached while it ran, or by a line that nobody could read."""

from __future__ import annotations

import pytest
from msgspec import UNSET, UnsetType

from radiocheck.chain.context import context
from radiocheck.chain.forecast import forecasts
from radiocheck.chain.held import hot_plugged
from radiocheck.chain.items import items
from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.subjects import subjects
from radiocheck.chain.verdict import Chain
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Handles
from radiocheck.evidence.vm import Domain, QemuProcess, UsbHostArg

from . import machines as m
from .test_judge import own

RULES = load([shipped()])
LINK = UsbHostArg(node="/dev/mesh")  # a name that a udev rule gave; what it leads to was not seen
TWIN = m.stick("1-3", 5, "D4E5F6", interfaces=[m.interface("1-3:1.0", ttys=("ttyACM1",))])


def chain(evidence: Evidence, serial: str = "A1B2C3") -> Chain:
    """The chain of one adapter."""
    return next(one for one in judge(evidence, RULES).chains if one.adapter.serial == serial)


def states(one: Chain) -> dict[str, str]:
    """States by step."""
    return {step.step: step.state for step in one.steps}


def test_device_add_in_plain_qemu() -> None:
    """QEMU holds it and its command line does not name it: handed over, and gone with the next start."""
    evidence = m.passed(domains=[], qemu=[m.process(usb=[])])
    found = chain(evidence)
    assert (found.route, found.vms) == ("device", ["hearth"])
    assert own(found) == [("assignment", "live-only")]
    assert states(found)["handover"] == "sound"
    (subject,) = subjects(evidence)
    (forecast,) = forecasts(context(evidence, [subject]), subject)
    assert (forecast.at_vm_restart, forecast.at_host_restart) == ("does-not-come-back", "does-not-come-back")


def test_beside_another_device_of_the_command_line() -> None:
    """What the command line names is another device; the held one was added."""
    found = chain(m.passed(domains=[], qemu=[m.process(usb=[UsbHostArg(vid="0403", pid="6001")])]))
    assert own(found) == [("assignment", "live-only")]


def test_its_twin_is_another_matter() -> None:
    """An adapter with the same IDs that the host uses gets no line of the VM."""
    twins = m.passed(
        domains=[], qemu=[m.process(usb=[])], usb=[*m.given_away(), TWIN], ttys=[m.tty("ttyACM1", 1, "1-3:1.0")]
    )
    assert own(chain(twins)) == [("assignment", "live-only")]
    assert chain(twins, "D4E5F6").route == "native"
    assert chain(twins, "D4E5F6").vms == []


def test_two_open_nodes_are_one_line() -> None:
    """A process that has a node open twice holds one device."""
    evidence = m.passed(domains=[], qemu=[m.process(usb=[])], handles=Handles(open=[m.hold(), m.hold()], unread=0))
    assert len(hot_plugged(evidence, items(evidence), m.given_away())) == 1


@pytest.mark.parametrize(
    ("process", "domains", "in_next"),
    [
        (m.process(usb=[]), [], False),
        (m.process(usb=UNSET), [], UNSET),  # its command line is hidden, or takes devices from a file
        (m.process(usb=[], libvirt=True), UNSET, UNSET),  # what libvirt keeps was not seen
        (m.process(usb=[]), [m.domain(live=m.definition(), next=m.definition())], False),
        (m.process(usb=[]), [m.domain(live=m.definition(), next=None)], True),  # transient: made anew as it is
        (m.process(usb=[]), [m.domain(live=m.definition(), next=UNSET)], UNSET),
    ],
)
def test_the_next_start(process: QemuProcess, domains: list[Domain] | UnsetType, in_next: object) -> None:
    """It is without the device only where everything was seen that the next start goes by."""
    evidence = m.passed(domains=domains, qemu=[process])
    (line,) = hot_plugged(evidence, items(evidence), m.given_away())
    assert (line.in_live, line.in_next) == (True, in_next)


def test_a_line_with_a_name_of_its_own() -> None:
    """`hostdevice=` may be any link: the held adapter is tied to that line, and is not taken for added later."""
    found = chain(m.passed(domains=[], qemu=[m.process(usb=[LINK])]))
    assert own(found) == []
    assert states(found)["handover"] == "sound"
    assert states(found)["assignment"] == "unseen"


def test_a_line_with_a_name_of_its_own_beside_a_twin() -> None:
    """With two adapters the open node still tells which of them the line means."""
    found = m.passed(
        domains=[], qemu=[m.process(usb=[LINK])], usb=[*m.given_away(), TWIN], ttys=[m.tty("ttyACM1", 1, "1-3:1.0")]
    )
    assert chain(found).vms == ["hearth"]
    assert chain(found, "D4E5F6").vms == []


def test_a_line_with_a_name_of_its_own_beside_a_plain_one() -> None:
    """What another line of the VM picks out is not what the name means."""
    evidence = m.passed(
        domains=[],
        qemu=[m.process(usb=[LINK, UsbHostArg(bus=1, port="2")], uid=0)],
        usb=[*m.given_away(), m.stick("1-3", 5, "D4E5F6", interfaces=[m.interface("1-3:1.0", "usbfs", ())])],
        ttys=[],
        handles=Handles(open=[m.hold(), m.hold(minor=4)], unread=0),
    )
    assert own(chain(evidence)) == []
    assert states(chain(evidence))["assignment"] == "sound"
    assert states(chain(evidence, "D4E5F6"))["assignment"] == "unseen"
