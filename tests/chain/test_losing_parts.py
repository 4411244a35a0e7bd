"""A list that holds a part only: nothing is concluded from what it lacks, and what it has still counts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from msgspec import structs

from radiocheck.chain.build import view
from radiocheck.chain.context import context
from radiocheck.chain.finding import decide
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.subjects import subjects
from radiocheck.chain.view import plain
from radiocheck.evidence.absent import known
from radiocheck.evidence.record import Evidence, interfaces_of
from radiocheck.evidence.store import load as load_evidence

from .test_judge import FAULTS, HEALTHY

RULES = load([shipped()]).rules
HOUSES = {**HEALTHY, **{name: fault[0] for name, fault in FAULTS.items()}}
FIXTURES = sorted((Path(__file__).parents[2] / "fixtures").glob("*/evidence.json"))
LISTS = (
    "usb ports controllers disks pci_functions modules ttys links usb_nodes users services qemu domains vm_messages "
    "container_nodes"
).split()


def answers(evidence: Evidence) -> dict[tuple[str, str], str]:
    """Every rule's answer about every adapter, by its label and by what it is known by.

    An adapter that is not in the list may still be one that the log remembers; that is another chain.
    """
    found = subjects(evidence)
    indexed = context(evidence, found)
    scopes = {f"{subject.label}, {subject.known_by}": plain(view(indexed, subject)) for subject in found}
    return {
        (label, name): decide(rule, facts, strict=True)[0]
        for label, facts in scopes.items()
        for name, rule in RULES.items()
    }


def parts(evidence: Evidence, field: str) -> Iterator[Evidence]:
    """The evidence with parts of one list: without each element, without any, and all of them."""
    value = getattr(evidence, field, None)
    if field == "handles":
        if known(value):
            for kept in sublists(value.open):
                yield structs.replace(evidence, handles=structs.replace(value, open=kept), partly=["handles"])
    elif field == "kernel_log":
        if known(value):  # a paste has the end of a log
            for start in {0, 1, len(value.events) // 2, len(value.events)}:
                log = structs.replace(value, events=value.events[start:], from_boot=False)
                yield structs.replace(evidence, kernel_log=log, partly=["kernel_log"])
    elif field == "interfaces":
        for index, device in enumerate(evidence.usb if known(evidence.usb) else []):
            for kept in sublists(device.interfaces if known(device.interfaces) else []):
                usb = [*evidence.usb]  # type: ignore[misc]  # there is a device
                usb[index] = structs.replace(device, interfaces=kept)
                yield structs.replace(evidence, usb=usb, partly=[interfaces_of(device.name)])
    elif known(value):
        for kept in sublists(value):
            yield structs.replace(evidence, partly=[field], **{field: kept})


def sublists(whole: list[Any]) -> Iterator[list[Any]]:
    """The list, without each of its first elements, and empty."""
    yield whole
    for index in range(min(len(whole), 8)):
        yield whole[:index] + whole[index + 1 :]
    if len(whole) > 1:
        yield []


def flips(evidence: Evidence, field: str) -> dict[tuple[str, str], tuple[str, str]]:
    """Answers that are another one, and not unknown, once only a part of a list is there."""
    before = answers(evidence)
    found: dict[tuple[str, str], tuple[str, str]] = {}
    for less in parts(evidence, field):
        after = answers(less)
        found |= {
            key: (before[key], after[key])
            for key in before.keys() & after.keys()
            if after[key] not in (before[key], "unknown") and before[key] != "unknown"
        }
    return found


@pytest.mark.parametrize("field", [*LISTS, "handles", "kernel_log", "interfaces"])
@pytest.mark.parametrize("name", HOUSES)
def test_no_part_flips_a_rule(name: str, field: str) -> None:
    """With a part of one list, every rule says the same as with all of it, or that it does not know."""
    assert flips(HOUSES[name], field) == {}


# Where a part of a list, as only a paste has it, changes a rule's answer today.
FLIPS = {
    "address-stale-libvirt": "without its listing a pinned line is not tied to the adapter, and `vm-off` is clear",
    "address-stale-with-ids": "without its listing a pinned line is not tied to the adapter, and `vm-off` is clear",
    "name-shared-cloned-serial": "of two devices with one serial number the listed one is taken for the name's owner",
}


@pytest.mark.parametrize(
    "file",
    [
        pytest.param(
            file,
            id=file.parent.name,
            marks=[pytest.mark.xfail(strict=True, reason=FLIPS[file.parent.name])] if file.parent.name in FLIPS else [],
        )
        for file in FIXTURES
    ],
)
def test_no_part_flips_a_captured_machine(file: Path) -> None:
    """The same on machines with real faults."""
    evidence = load_evidence(file.read_bytes(), str(file))
    for field in ("usb", "ttys", "links", "services", "qemu", "domains", "handles", "kernel_log"):
        assert flips(evidence, field) == {}, field
