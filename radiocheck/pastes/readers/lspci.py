"""`lspci -k`, `lspci -nnk`: USB controllers with the driver that has them (pciutils, lspci.c)."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lspci -k"

_ADDRESS = r"(?P<address>(?:[0-9a-f]{4}:)?[0-9a-f]{2}:[0-9a-f]{2}\.[0-7])"
_FUNCTION = re.compile(
    rf"^\W{{0,6}}{_ADDRESS} (?:\"?(?P<class>USB [Cc]ontroller)\"?(?: \[(?P<code>[0-9a-f]{{4}})\])?|(?P<bare>0c03)):"
    r"(?P<rest>.{0,400})"
)
_OTHER = re.compile(rf"^\W{{0,6}}{_ADDRESS} ")
_IDS = re.compile(r"(?:\[|^ )([0-9a-f]{4}):([0-9a-f]{4})(?:\]|\b)")
_DRIVER = re.compile(r"^\s+Kernel driver in use: (?P<driver>[\w-]{1,40})\s*$")
_GROUP = re.compile(r"^\s+IOMMU group: (?P<group>\d{1,5})\s*$")
_GROUP_BEFORE = re.compile(r"^\W{0,6}IOMMU [Gg]roup (?P<group>\d{1,5}):?\s+(?P<rest>.{0,400})$")
_MODULES = re.compile(r"^\s+Kernel modules: ")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One controller per function; without a driver line although modules are named, none has it.

    Lists of IOMMU groups, as many scripts print them, put the group before the function.
    """
    found: dict[str, Any] = {}
    numbers: list[int] = []
    for line in lines:
        text = line.text[:600]
        group = _GROUP_BEFORE.match(text)
        if group is not None:
            text = group["rest"]
        if line.prompt is None and (match := _FUNCTION.match(text)):
            yield from _controller(found, numbers)
            found, numbers = _function(match), [line.number]
            if group is not None:
                found["iommu_group"] = int(group["group"])
        elif line.prompt is not None or _OTHER.match(text):
            yield from _controller(found, numbers)
            found, numbers = {}, []
        elif found and (match := _DRIVER.match(text)):
            found["driver"] = match["driver"]
            found["vfio"] = match["driver"].startswith("vfio")
            numbers.append(line.number)
        elif found and (match := _GROUP.match(text)):
            found["iommu_group"] = int(match["group"])
            numbers.append(line.number)
        elif found and _MODULES.match(text):
            found.setdefault("driver", None)  # lspci prints the driver's line before this one
            found.setdefault("vfio", False)
            numbers.append(line.number)
    yield from _controller(found, numbers)


def _function(match: re.Match[str]) -> dict[str, Any]:
    address = match["address"] if len(match["address"]) > 7 else f"0000:{match['address']}"
    found: dict[str, Any] = {"address": address}
    if ids := _IDS.findall(match["rest"]):
        found["vid"], found["pid"] = ids[-1]
    return found


def _controller(found: dict[str, Any], numbers: list[int]) -> Iterator[Piece]:
    if found:
        yield Piece("controller", tuple(numbers), found)
