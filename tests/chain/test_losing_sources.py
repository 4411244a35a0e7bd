"""Losing a whole source of evidence never turns a finding into its opposite."""

from __future__ import annotations

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.build import view
from radiocheck.chain.context import context
from radiocheck.chain.finding import decide
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.subjects import subjects
from radiocheck.chain.view import plain
from radiocheck.evidence.record import Evidence
from radiocheck.evidence.serial import Handles

from .test_judge import FAULTS, HEALTHY

RULES = load([shipped()]).rules
MACHINES = {**HEALTHY, **{name: fault[0] for name, fault in FAULTS.items()}}
SOURCES = [
    "host",
    "ports",
    "controllers",
    "disks",
    "modules",
    "ttys",
    "links",
    "usb_nodes",
    "users",
    "handles",
    "services",
    "kernel_log",
    "qemu",
    "domains",
    "vm_messages",
    "container_nodes",
]


def answers(evidence: Evidence) -> dict[tuple[str, str], str]:
    """Every rule's answer about every adapter, by the adapter's label."""
    found = subjects(evidence)
    indexed = context(evidence, found)
    return {
        (subject.label, rule.name): decide(rule, plain(view(indexed, subject)), strict=True)[0]
        for subject in found
        for rule in RULES.values()
    }


@pytest.mark.parametrize("source", [*SOURCES, "other processes"])
@pytest.mark.parametrize("name", MACHINES)
def test_no_source_flips_a_rule(name: str, source: str) -> None:
    """Without one source, every rule says the same as before, or that it does not know."""
    whole = MACHINES[name]
    if source == "other processes":
        mine = [one for one in whole.handles.open if one.uid == 1000] if isinstance(whole.handles, Handles) else []
        less = structs.replace(whole, handles=Handles(open=mine, unread=30))
    else:
        less = structs.replace(whole, **{source: UNSET})
    before, after = answers(whole), answers(less)
    flipped = {
        key: (before[key], after[key])
        for key in before.keys() & after.keys()
        if after[key] not in (before[key], "unknown")
    }
    assert flipped == {}
