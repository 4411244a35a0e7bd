"""Nodes under /dev/bus/usb, under umockdev and against lsusb."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

import pytest

from radiocheck.evidence.absent import UNSET
from radiocheck.sources import usb_nodes
from radiocheck.sources.machine import Machine, Seen

from .umock import laid_out, needs_umockdev, seen_under, under

BED = "names.umockdev"


@needs_umockdev
def test_every_usb_node_is_listed_with_number_and_rights() -> None:
    """The minor is (bus - 1) * 128 + device - 1 (Linux drivers/usb/core/usb.c, from memory)."""
    nodes = seen_under("usb_nodes", BED).usb_nodes
    assert nodes is not UNSET
    assert [node.path for node in nodes] == [f"/dev/bus/usb/001/{number:03}" for number in (1, 5, 6, 7, 9)]
    for node in nodes:
        assert (node.major, node.minor) == (189, int(node.path[-3:]) - 1)
        assert node.owner == "root"
        assert node.acl is None


@needs_umockdev
@pytest.mark.skipif(shutil.which("lsusb") is None, reason="lsusb is absent (Debian package usbutils)")
def test_the_nodes_are_those_of_the_devices_that_lsusb_lists() -> None:
    """Reference: lsusb, which finds the devices through libusb."""
    listed = re.findall(r"^Bus (\d+) Device (\d+)", under("gable.umockdev", argv=["lsusb"]).stdout, re.M)
    assert listed
    nodes = seen_under("usb_nodes", "gable.umockdev").usb_nodes
    assert nodes is not UNSET
    assert {node.path for node in nodes} == {f"/dev/bus/usb/{bus}/{number}" for bus, number in listed}


def test_a_machine_without_usb_nodes_has_an_empty_list(tmp_path: Path) -> None:
    """Looked, none there."""
    assert usb_nodes.collect(Machine(root=str(tmp_path))) == Seen({"usb_nodes": []})


@needs_umockdev
def test_a_node_that_went_away_and_a_stray_file_are_left_out() -> None:
    """A dangling entry is a node that left; a plain file is no node, and a gap says so."""
    with laid_out(BED) as root:
        os.symlink("nowhere", f"{root}/dev/bus/usb/001/011")
        Path(f"{root}/dev/bus/usb/001/012").write_text("x")
        Path(f"{root}/dev/bus/usb/.cache").write_text("x")
        seen = usb_nodes.collect(Machine(root=root))
    assert "/dev/bus/usb/001/011" not in [node.path for node in seen.facts["usb_nodes"]]
    assert ("usb_nodes[/dev/bus/usb/001/012]", "malformed") in [(gap.what, gap.why) for gap in seen.gaps]


@needs_umockdev
def test_a_node_that_cannot_be_looked_at_leaves_the_list_absent() -> None:
    """Here a link that leads to itself: there, but its status cannot be read."""
    with laid_out(BED) as root:
        os.symlink("011", f"{root}/dev/bus/usb/001/011")
        seen = usb_nodes.collect(Machine(root=root))
    assert seen.facts == {}
    assert ("usb_nodes[/dev/bus/usb/001/011]", "failed") in [(gap.what, gap.why) for gap in seen.gaps]


def test_a_refused_folder_leaves_the_list_absent(tmp_path: Path) -> None:
    """A list is complete or absent."""

    class Refusing(Machine):
        def names(self, path: str) -> list[str]:
            raise PermissionError(13, "Permission denied")

    seen = usb_nodes.collect(Refusing(root=str(tmp_path)))
    assert seen.facts == {}
    assert [(gap.what, gap.why, gap.provide) for gap in seen.gaps] == [("usb_nodes", "denied", "run as root")]
