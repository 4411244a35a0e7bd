"""What a container's evidence means for the rights of the user in question, and what of it is not known."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET, structs

from radiocheck.chain.build import view
from radiocheck.chain.context import context
from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.chain.subjects import subjects
from radiocheck.chain.verdict import Report
from radiocheck.chain.view import AccessFacts
from radiocheck.evidence.record import Evidence, Gap
from radiocheck.evidence.serial import AclEntry, User

from . import machines as m

RULES = load([shipped()])
OTHER = User(name="mesh", uid=998, exists=True, groups=[998], session_groups=[998, 20], asked=True)


def access(evidence: Evidence) -> AccessFacts:
    """The facts of the access step."""
    found = subjects(evidence)
    return view(context(evidence, found), found[0]).access


def found(report: Report) -> list[str]:
    """Everything that is found and follows from nothing else."""
    return [
        one.rule
        for step in report.chains[0].steps
        for one in step.findings
        if one.result == "found" and one.explained_by is None
    ]


def test_outside_nothing_is_given() -> None:
    """On a machine the facts of a container are null and false, so that no rule is left open for them."""
    facts = access(m.native())
    assert (facts.container_path, facts.container_refused, facts.container_gid, facts.tty_major) == (None,) * 4
    assert (facts.container_old_number, facts.container_nodev, facts.container_removed) == (False,) * 3


def test_the_node_counts_whatever_its_name() -> None:
    """Rights and holders are those of the node that the container has, though the kernel's name is not there."""
    evidence = m.contained(
        handles=structs.replace(m.native().handles, open=[m.open_tty("mesh-server")])  # by its number
    )
    facts = access(evidence)
    assert (facts.node, facts.mode, facts.container_path) == ("/dev/radio", "660", "/dev/radio")
    assert (facts.tty_holders, facts.user_may_open, facts.user_in_group) == (1, True, True)


@pytest.mark.parametrize(
    ("entry", "user", "may", "by_mode"),
    [
        (m.given(), None, True, False),
        (m.given(refused="EACCES"), None, False, True),
        (m.given(refused="EPERM"), None, False, False),
        (m.given(nodev=True), None, False, False),
        (m.given(minor=5), None, False, False),
        (m.given(listed=False), None, False, False),
        (m.given(refused=UNSET), None, UNSET, False),
        (m.given(nodev=UNSET), None, UNSET, False),
        (m.given(), OTHER, True, False),
        (m.given(asked_uid=0), structs.replace(OTHER, session_groups=[998]), False, True),
        (m.given(asked_uid=0), structs.replace(OTHER, groups=[998, 20], session_groups=UNSET), True, False),
        (m.given(asked_uid=0, refused="EPERM"), OTHER, False, False),
        (m.given(asked_uid=0), structs.replace(OTHER, groups=UNSET, session_groups=UNSET), UNSET, UNSET),
    ],
)
def test_rights_inside(entry: Any, user: User | None, may: object, by_mode: object) -> None:
    """For our own account the kernel's answer counts, for another its running process's groups, then its file's."""
    evidence = m.contained(entry) if user is None else m.contained(entry, users=[user])
    facts = access(evidence)
    assert (facts.user_may_open, facts.container_mode_refuses) == (may, by_mode)
    assert facts.session_may_open == facts.user_may_open


def test_root_without_its_power_is_believed_to_be_refused() -> None:
    """Root of a user namespace has no power over a node whose owner has no number there (user_namespaces(7))."""
    root = User(name="root", uid=0, exists=True, groups=[0], session_groups=[0], asked=True)
    entry = m.given("/dev/ttyACM0", gid=65534, mount="bind", refused="EACCES", asked_uid=0, asked_groups=[0])
    report = judge(m.contained(entry, users=[root]), RULES)
    assert (report.verdict.state, report.verdict.step) == ("broken", "access")
    assert "container-group-number-differs" in found(report)


def test_an_acl_that_lets_the_account_in() -> None:
    """An access list on the node counts in a container as outside (acl(5))."""
    entry = m.given(asked_uid=0)
    acl = [AclEntry(tag="user", id=998, perms=6), AclEntry(tag="mask", perms=6)]
    entry = structs.replace(entry, node=structs.replace(entry.node, acl=acl))
    facts = access(m.contained(entry, users=[structs.replace(OTHER, session_groups=[998])]))
    assert (facts.user_may_open, facts.user_in_group) == (True, False)


@pytest.mark.parametrize(
    "change", [{"container_nodes": UNSET}, {"container_nodes": []}, {"container_nodes": [m.given(node=UNSET)]}]
)
def test_what_was_not_seen_is_not_guessed(change: dict[str, Any]) -> None:
    """Without the container's entry for this tty neither path nor rights are known, and no account is missing."""
    nobody = [User(name="1000", uid=1000, exists=False, asked=True)]
    facts = access(m.contained(users=nobody, **change))
    assert (facts.container_path, facts.container_old_number, facts.user_may_open) == (UNSET,) * 3
    assert facts.user_exists is not False


def test_a_container_that_is_given_another_adapter() -> None:
    """Two adapters, one of them for this container: the other is not missed, and the step says so."""
    other = m.given(tty="ttyACM1", minor=1)
    other = structs.replace(other, minor=1)
    evidence = m.contained(container_nodes=[m.given(node=None), other])
    assert access(evidence).container_other == "/dev/radio"
    report = judge(evidence, RULES)
    assert "node-not-in-container" not in found(report)
    step = next(one for one in report.chains[0].steps if one.step == "access")
    assert "this container has no node for it, and has /dev/radio for another adapter" in step.saw
    dead = m.contained(container_nodes=[m.given(node=None), structs.replace(other, minor=2)])
    assert "node-not-in-container" in found(judge(dead, RULES))


def test_an_adapter_without_a_tty_has_no_node_to_be_missing() -> None:
    """Given to a VM outside, the adapter has no tty in any container, and rightly so."""
    evidence = m.contained(usb=m.given_away(), ttys=[], container_nodes=[])
    assert "node-not-in-container" not in found(judge(evidence, RULES))


def test_a_plain_container_that_sees_only_its_own_processes() -> None:
    """No finding; access stays unseen for the holders outside, and the note says where they would show."""
    gap = Gap(what="handles", why="not-here", detail="only the processes of this container can be seen")
    report = judge(m.contained(handles=UNSET, gaps=[gap]), RULES)
    assert found(report) == []
    states = {step.step: step.state for step in report.chains[0].steps}
    assert (states["name"], states["access"]) == ("sound", "unseen")
    assert any("in a container" in note and "outside" in note for note in report.notes)


def test_the_kernels_name_in_a_container_is_a_weak_one() -> None:
    """Given as /dev/ttyACM0 it can be opened now, and moves with the order of plugging in."""
    report = judge(m.contained(m.given("/dev/ttyACM0")), RULES)
    assert (report.verdict.state, found(report)) == ("weak", ["no-udev-names"])
