"""Outcomes and how a line is put into words."""

from __future__ import annotations

import typing

import pytest

from radiocheck.chain.context import context
from radiocheck.chain.expected import Expected, is_given, same, selection, unseen
from radiocheck.chain.item import Item
from radiocheck.chain.verdict import Outcome
from radiocheck.evidence.vm import GivenVm

from . import machines as m


def item(selector: str, **change: typing.Any) -> Item:
    """A line of `hearth`."""
    return Item(vm="hearth", manager="qemu", kind="device", selector=selector, text="usb-host", **change)


def test_hopeful() -> None:
    """Only what may give the adapter to the VM can be spoilt by something else."""
    hopes = {one for one in typing.get_args(Outcome) if Expected(one).hopeful}
    assert hopes == {"comes-back", "only-if-alone", "by-chance"}
    assert not unseen("usb").hopeful
    assert same("refused", "because") == (Expected("refused", "because"), Expected("refused", "because"))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (item("ids", vid="1209", pid="7a01"), "1209:7a01"),
        (item("ids", vid="1209"), "1209:any product"),
        (item("port", bus=1, path="2.1"), "port 2.1 of bus 1"),
        (item("port-any-bus", path="2.1"), "port 2.1"),
        (item("node", bus=1, address=4), "bus 1 device 4"),
        (item("ids-address", vid="1209", pid="7a01", bus=1, address=4), "1209:7a01 as bus 1 device 4"),
    ],
)
def test_selection(line: Item, words: str) -> None:
    """What the line goes by, and no more."""
    assert selection(line) == words


def test_given_lines() -> None:
    """A line of a file that a person gave is told from one that was seen."""
    evidence = m.native(given_vms=[GivenVm(name="hearth", manager="qemu", origin="hearth.args")])
    indexed = context(evidence, [])
    assert is_given(indexed, Item("hearth", "qemu", "device", "ids", "usb-host vendorid=1209 (in hearth.args)"))
    assert not is_given(indexed, item("ids"))
