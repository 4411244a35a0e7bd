"""`lspci -k`, `lspci -nnk`: USB controllers with the driver that has them (pciutils, lspci.c).

Scripts that go through /sys/kernel/iommu_groups print a group's number before each function
or above them all; then what stands below it is the whole group.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from msgspec import UNSET

from radiocheck.evidence.usb import GroupMember
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "lspci -k"

_ADDRESS = r"(?P<address>(?:[0-9a-f]{4}:)?[0-9a-f]{2}:[0-9a-f]{2}\.[0-7])"
_FUNCTION = re.compile(
    rf"^\W{{0,16}}{_ADDRESS} (?:\"?(?P<class>USB [Cc]ontroller)\"?(?: \[(?P<code>[0-9a-f]{{4}})\])?|(?P<bare>0c03)):"
    r"(?P<rest>.{0,400})"
)
_OTHER = re.compile(rf"^\W{{0,16}}{_ADDRESS} (?:.{{0,80}}?\[(?P<code>[0-9a-f]{{4}})\]:)?")
_IDS = re.compile(r"(?:\[|^ )([0-9a-f]{4}):([0-9a-f]{4})(?:\]|\b)")
_DRIVER = re.compile(r"^\s+Kernel driver in use: (?P<driver>[\w-]{1,40})\s*$")
_GROUP = re.compile(r"^\s+IOMMU group: (?P<group>\d{1,5})\s*$")
_GROUP_BEFORE = re.compile(
    r"^\W{0,6}(?:IOMMU )?[Gg]roup:? {0,3}(?P<group>\d{1,5}):?(?:\s+(?P<rest>\S.{0,400}))?\s*$", re.I
)
_MODULES = re.compile(r"^\s+Kernel modules: ")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One controller per function; without a driver line although modules are named, none has it."""
    listing = _Listing()
    for line in lines:
        text = line.text[:600]
        before = _GROUP_BEFORE.match(text) if line.prompt is None else None
        if before is not None and (before["rest"] is None or _OTHER.match(before["rest"])):
            text = before["rest"] or ""
            listing.in_group(int(before["group"]), beside=bool(text))
            if not text:
                continue
        if line.prompt is None and (match := _FUNCTION.match(text)):
            listing.add(_function(match), line.number)
        elif line.prompt is None and (match := _OTHER.match(text)):
            address = _whole(match["address"])
            listing.add({"address": address, "class": match["code"]}, line.number)
        elif line.prompt is not None or (not text.strip() and listing.above is not None):
            yield from listing.end()
            listing = _Listing()
        elif match := _DRIVER.match(text):
            listing.tell(line.number, driver=match["driver"], vfio=match["driver"].startswith("vfio"))
        elif match := _GROUP.match(text):
            listing.tell(line.number, iommu_group=int(match["group"]))
        elif _MODULES.match(text):
            listing.tell_default(line.number, driver=None, vfio=False)  # the driver's line stands before this one
    yield from listing.end()


class _Listing:
    """The functions of one output, those that are no USB controllers among them, and the group each is in."""

    def __init__(self) -> None:
        self.functions: list[tuple[dict[str, Any], list[int]]] = []
        self.above: int | None = None  # the group whose number stood last
        self.headed: set[int] = set()  # groups whose number stands above their functions
        self.named: set[int] = set()  # groups whose number stands before each of their functions

    def in_group(self, group: int, beside: bool) -> None:
        self.above = group
        (self.named if beside else self.headed).add(group)

    def add(self, function: dict[str, Any], number: int) -> None:
        if self.above is not None:
            function["iommu_group"] = self.above
        self.functions.append((function, [number]))

    def tell(self, number: int, **facts: Any) -> None:
        if self.functions:
            self.functions[-1][0].update(facts)
            self.functions[-1][1].append(number)

    def tell_default(self, number: int, **facts: Any) -> None:
        if self.functions:
            self.tell(number, **(facts | self.functions[-1][0]))

    def end(self) -> Iterator[Piece]:
        """Controllers, with the other functions of a group that was listed."""
        # A list with nothing but USB controllers was filtered for them.
        whole = self.headed | (self.named if any("class" in one for one, _ in self.functions) else set())
        for function, numbers in self.functions:
            if "class" in function:
                continue
            group = function.get("iommu_group")
            if group in whole:
                others = [one for one, _ in self.functions if one is not function and one.get("iommu_group") == group]
                function["group"] = [_member(one) for one in others]
            yield Piece("controller", tuple(numbers), function)


def _member(function: dict[str, Any]) -> GroupMember:
    code = function.get("class", "0c03")
    # lspci prints class and subclass, not the programming interface
    known = {key: function[key] for key in ("driver",) if key in function}
    return GroupMember(address=function["address"], class_=f"{code}00" if code else UNSET, **known)


def _whole(address: str) -> str:
    return address if len(address) > 7 else f"0000:{address}"


def _function(match: re.Match[str]) -> dict[str, Any]:
    found: dict[str, Any] = {"address": _whole(match["address"])}
    if ids := _IDS.findall(match["rest"]):
        found["vid"], found["pid"] = ids[-1]
    return found
