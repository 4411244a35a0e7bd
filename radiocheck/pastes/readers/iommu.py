"""IOMMU groups that are not there, and settings that mean a controller for vfio-pci."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece
from radiocheck.pastes.readers import lspci
from radiocheck.sources.qemu_args import pci_address

TITLE = "/sys/kernel/iommu_groups, vfio-pci's options"

_FOLDER = "/sys/kernel/iommu_groups"
_ASKED = re.compile(r"^(?:ls(?: -\w{1,8})*|find|tree) /sys/kernel/iommu_groups/?(?:\*|\s|$)")
_NOTHING = re.compile(r"^\s*(?:total 0|0 directories, 0 files)?\s*$")
_NOT_THERE = re.compile(r"/sys/kernel/iommu_groups/?\S{0,3}['\"]?: No such file or directory")
# hw/vfio/pci.c
_NONE = re.compile(r"\bvfio (?P<pci>[0-9a-f:.]{7,12}): no iommu_group found")
# modprobe.d(5), and the kernel's command line
_OPTIONS = re.compile(r"(?:\boptions\s+vfio[-_]pci\s.{0,200}?\bids=|\bvfio[-_]pci\.ids=)(?P<ids>[0-9a-fA-F:,]{9,400})")
_IDS = re.compile(r"(?<![0-9a-f:])([0-9a-f]{4}):([0-9a-f]{4})", re.IGNORECASE)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Controllers that are in no group, and those that a setting reserves.

    A folder of groups that is empty says it of every controller of the paste.
    """
    listed: list[Piece] | None = None
    for index, line in enumerate(lines):
        text = line.text[:1_000]
        if (match := _NONE.search(text)) and (address := pci_address(match["pci"])):
            yield Piece("controller", (line.number,), {"address": address, "iommu_group": None})
        empty = _FOLDER in text and (_empty(lines, index) or (line.prompt is None and _NOT_THERE.search(text)))
        options = None if text.lstrip().startswith("#") else _OPTIONS.search(text)
        reserved = {(vid.lower(), pid.lower()) for vid, pid in _IDS.findall(options["ids"])} if options else set()
        if not empty and not reserved:
            continue
        if listed is None:
            listed = list(lspci.read(lines))
        for piece in listed:
            numbers, one = (line.number,), piece.value
            if empty:
                yield Piece("controller", numbers, {"address": one["address"], "iommu_group": None})
            elif (one.get("vid"), one.get("pid")) in reserved:
                yield Piece("controller", numbers, {"address": one["address"], "reserved": text.strip()[:200]})


def _empty(lines: Sequence[Line], index: int) -> bool:
    """Whether a command that lists the groups printed none before the next command."""
    prompt = lines[index].prompt
    if prompt is None or not _ASKED.match(prompt):
        return False
    for line in lines[index + 1 : index + 4]:
        if line.prompt is not None:
            return True
        if not _NOTHING.match(line.text[:80]):
            return False
    return False
