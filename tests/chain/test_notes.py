"""What a report says of the whole machine."""

from __future__ import annotations

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.judge import judge
from radiocheck.chain.notes import host_line
from radiocheck.chain.rules import load, shipped
from radiocheck.evidence.record import Evidence, Taken

from . import guests as g
from . import machines as m

RULES = load([shipped()])
EMPTY = {"usb": [m.root_hub()], "ttys": [], "links": [], "modules": [], "kernel_log": UNSET}


def notes(evidence: Evidence, guest: Evidence | None = None) -> str:
    """The notes of a judgement."""
    return "\n".join(judge(evidence, RULES, None, guest).notes)


def test_a_host_needs_no_note() -> None:
    """Bare metal, and a hypervisor that is itself virtual and has VMs."""
    assert notes(m.native()) == ""
    nested = g.host()
    assert notes(structs.replace(nested, host=structs.replace(nested.host, virtualisation="kvm"))) == ""


def test_a_vm_is_told_how_to_show_both_sides() -> None:
    """In the VM: what only the host shows, and the two commands."""
    assert "`radiocheck capture FILE` here, and `radiocheck check --guest FILE` there" in notes(g.hearth())
    assert "ttyS0" not in notes(g.hearth())


def test_a_vm_without_an_adapter() -> None:
    """Nothing to judge, only its host can tell why, and a serial port that the host gives is not followed."""
    report = judge(g.hearth(**EMPTY), RULES)
    assert (report.verdict.state, report.chains) == ("unseen", [])
    assert report.verdict.sentence.startswith("Nothing to judge: this VM shows no USB serial adapter.")
    assert "ttyS0" in report.notes[-1]


def test_a_converter_that_qemu_makes() -> None:
    """The guest's side of a tty that the host forwards (hw/usb/dev-serial.c): the adapter itself is not there."""
    port = g.stick(vid="0403", pid="6001", manufacturer="QEMU", product="QEMU USB SERIAL", serial="1")
    assert "a converter that the hypervisor makes" in notes(g.hearth(usb=[m.root_hub(), port]))
    assert "converter" not in notes(g.hearth())


def test_a_virtual_machine_that_may_be_a_host() -> None:
    """Where it is not known whether VMs run here, the note is the cautious one."""
    assert "itself a guest" in notes(structs.replace(g.hearth(), host=g.host_of(hypervisor=UNSET)))


@pytest.mark.parametrize(
    ("after", "words"), [(10, "10 seconds"), (300, "5 minutes"), (20_000, "5 hours"), (9e5, "10 days")]
)
def test_the_other_capture_is_named(after: float, words: str) -> None:
    """Which VM, what it runs, how far apart; without root is said."""
    guest = g.hearth(taken=Taken(at=m.NOW + after, tool="test", root=False))
    assert notes(g.host(), guest) == (
        "Joined with the capture of the VM hearth (Debian GNU/Linux 12 (bookworm), kernel 6.1.0-42-cloud-amd64, "
        f"itself a guest (kvm), without root), {words} apart."
    )


def test_a_vm_that_nothing_here_is_for() -> None:
    """The captured VM is one of this host, and no line gives it an adapter."""
    assert notes(g.host(), g.hearth(host=g.host_of(g.ATTIC))).endswith("No adapter was seen here that is for it.")


def test_a_machine_in_one_line() -> None:
    """What is not known is left out."""
    assert host_line(structs.replace(g.hearth(), host=UNSET)) == "unknown host"
    contained = host_line(structs.replace(g.hearth(), host=g.host_of(container="podman", kernel=UNSET)))
    assert contained == "Debian GNU/Linux 12 (bookworm), itself a guest (kvm), in a container (podman)"
