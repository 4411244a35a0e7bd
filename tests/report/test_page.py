"""Rules as text."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from radiocheck.chain.rule import RuleSet
from radiocheck.chain.rules import load
from radiocheck.chain.verdict import StepName
from radiocheck.report.page import complaints, listing, page
from tests.report.test_escape import harmful

RULE = """\
rule: sleepy
step: power
gravity: strain
title: The adapter – “asleep”
seen: "control of {adapter.name} is `{power.control}`"
why: >-
  A sleeping adapter can lose what the mesh sends first.
when: |
  adapter.present
  && power.control == 'auto'
looks_like: A controller that is given away whole is put to sleep by the guest.
remedies:
  - do: Keep it awake
    command: |
      echo on | sudo tee /sys/bus/usb/devices/{adapter.name}/power/control
      cat /sys/bus/usb/devices/{adapter.name}/power/control
    risk: interrupts
    interrupts: nobody
    caution: look first
    check: "the file reads `on`"
  - do: Exempt it
    when: access.power_saver != null
    snippet: udev-no-modem
    save: exempt.rules
    command: sudo install exempt.rules /etc/udev/rules.d/
    risk: reversible
sources:
  - "Linux kernel, Documentation\\e[31m/power-management.rst"
examples:
  - {name: a, given: {adapter: {present: true}, power: {control: auto}}, expect: found}
  - {name: b, given: {adapter: {present: true}, power: {control: "on"}}, expect: clear}
"""


@pytest.fixture
def rules(tmp_path: Path) -> RuleSet:
    """The shipped steps with one rule of our own."""
    (tmp_path / "power").mkdir()
    (tmp_path / "power" / "sleepy.yaml").write_text(RULE)
    return load([tmp_path])


def test_lists_by_step(rules: RuleSet) -> None:
    """All ten steps in the order of the chain, each with its question and its rules."""
    lines = listing(rules).splitlines()
    starts = [line.split(":")[0] for line in lines if line and not line.startswith(" ")]
    assert tuple(starts) == get_args(StepName)
    assert "  sleepy  The adapter – “asleep”" in lines
    assert all(len(line) <= 80 for line in lines)


def test_page_tells_the_whole_rule(rules: RuleSet) -> None:
    """Every part of the rule's file is on its page, in the order a person asks."""
    shown = " ".join(page(rules.rules["sleepy"], rules).split())
    wanted = [
        "sleepy The adapter – “asleep”",
        "power: Does the socket give the adapter steady power?",
        "strain: it works today",
        "control of {adapter.name} is `{power.control}`",
        "A sleeping adapter can lose",
        "A controller that is given away whole",
        "adapter.present && power.control == 'auto'",
        "1. Keep it awake",
        "echo on | sudo tee",
        "interrupts service: nobody",
        "beware: look first",
        "worked if: the file reads `on`",
        "2. Exempt it",
        "configuration: a udev rule: the modem prober leaves it, saved as exempt.rules",
        "sudo install exempt.rules /etc/udev/rules.d/",
        "only if: access.power_saver != null",
        "can be undone",
        "Linux kernel, Documentation",
    ]
    places = [shown.find(words) for words in wanted]
    assert -1 not in places, wanted[places.index(-1)]
    assert places == sorted(places)


def test_page_keeps_lines_of_commands_and_conditions(rules: RuleSet) -> None:
    """Commands and conditions are shown line by line as they were written; the rest fits 80 columns."""
    lines = page(rules.rules["sleepy"], rules).splitlines()
    assert "     cat /sys/bus/usb/devices/{adapter.name}/power/control" in lines
    assert "  && power.control == 'auto'" in lines
    assert all(len(line) <= 80 for line in lines)


def test_rule_files_cannot_steer_a_terminal(rules: RuleSet) -> None:
    """A rule from elsewhere is shown escaped; with `ascii` in ASCII."""
    shown = page(rules.rules["sleepy"], rules)
    assert harmful(shown.replace("\n", "")) == []
    assert "\\x1b[31m" in shown
    assert page(rules.rules["sleepy"], rules, ascii=True).isascii()
    assert listing(rules, ascii=True).isascii()


def test_complaints_are_lines() -> None:
    """One complaint a line, escaped."""
    assert complaints(["a:1:1: x\nb:2:2: y", "c:3:3: \x1b"]) == "a:1:1: x\nb:2:2: y\nc:3:3: \\x1b\n"
