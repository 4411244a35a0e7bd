"""Xen's VMs: the lines of an xl.cfg(5) that were printed one below the other."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from radiocheck.evidence.vm import GivenVm
from radiocheck.pastes.broken import is_cut, left_out
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece
from radiocheck.sources import given

TITLE = "xl.cfg"

_SETTING = re.compile(r"^\s{0,12}(?P<name>[a-z][a-z0-9_]{1,30})\s{0,4}\+?=\s{0,4}(?:[\[\"']|\d)")
_HANDS_OVER = frozenset({"usbdevice", "usbdev", "pci"})
# Settings that other files of such a form do not have: the paste is of an xl.cfg, and not of a script.
_OF_XL = frozenset({"vcpus", "memory", "disk", "vif", "kernel", "builder", "type", "bootloader", "usbctrl", "usb"})
# Root's prompt looks as a comment does.
_COMMENT = re.compile(
    r"^\s{0,12}#(?!\s{0,4}(?:cat|e?grep|less|more|sed|awk|head|tail|xl|xm|ls\w{0,4}|vi|nano|dmesg)\b)"
)
_LONGEST = 300  # lines


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One VM per run of such lines that hands something over."""
    run: list[Line] = []
    depth = 0  # of a list that goes on in the next line
    for line in [*lines, Line(0, "", "")]:
        text = line.text
        comment = _COMMENT.match(text) is not None
        inside = depth > 0 and line.prompt is None and text.strip() != "" and len(run) < _LONGEST
        if inside or (line.prompt is None and _SETTING.match(text[:120])):
            run.append(line)
            depth = max(0, depth + text.count("[") - text.count("]"))
        elif comment or (line.number and not text.strip()):
            continue
        else:
            yield from _vm(run)
            run, depth = [], 0


def _vm(run: Sequence[Line]) -> Iterator[Piece]:
    names = {match["name"] for line in run if (match := _SETTING.match(line.text[:120]))}
    if not names & _HANDS_OVER or not names & _OF_XL:
        return
    if any(is_cut(line.text) or left_out(line.text) for line in run):
        return
    try:
        found = given.vm_xl("\n".join(line.text for line in run).encode(), "paste")
    except ValueError:
        return
    for one in found:
        if _hands_over(one):
            yield Piece("given", tuple(line.number for line in run), replace(one, origin="paste"))


def _hands_over(one: GivenVm) -> bool:
    return bool(one.arguments or one.hostdevs or one.pci or one.ttys)
