"""What programs say when they have their device: the signs that an earlier refusal is over.

A unit that runs proves nothing by itself: some daemons go on without their device.  It
does when the same unit was shown to have failed before.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.families import family, speaker
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "a program that has its device"

_READ = 600  # characters of a line that are looked at
_NODE = re.compile(r"/dev/(?:serial/by-\w{2,6}/[\w.:+-]{1,200}|bus/usb/\d{3}/\d{3}|tty(?:USB|ACM)\d{1,4})")
# By family (pastes/families): a piece of the line, whose absence refutes it cheaply, and its expression.
# From memory of the programs: nut's clients and drivers, avrdude, esptool, openocd, dfu-util, stlink, pcsc_scan, gpsd.
_SIGNS: dict[str, dict[str, str]] = {
    "ups": {
        "using subdriver": r"\bUsing subdriver: \S",
        "communications with": r"\bCommunications with UPS \S{1,80} established",
        "connected to ups": r"\bConnected to UPS \[[\w.-]{1,60}\]: \S",
        "ups.status:": r"^\W{0,4}ups\.status: (?!WAIT)[A-Z]{2}",
    },
    "avrdude": {
        "avr device initialized": r"AVR device initialized and ready to accept instructions",
        "verified": r"\b\d{1,8} bytes of [\w-]{1,20} verified",
        "device signature": r"\b[Dd]evice signature = (?!0x(?:000000|ffffff)|00 00 00|FF FF FF)\S",
    },
    "esptool": {
        "chip is": r"^\W{0,4}Chip is [\w-]{3,40}",
        "chip type:": r"^\W{0,4}Chip type:\s{1,20}\w",
        "hash of data verified": r"\bHash of data verified",
    },
    "openocd": {
        "tap/device found": r"\bInfo : JTAG tap: \S{1,60} tap/device found",
        "breakpoints": r"\bInfo : \[?\S{1,60} \S{0,20} ?hardware has \d{1,3} breakpoints",
        "processor detected": r"\bInfo : .{1,80} processor detected",
    },
    "dfu": {
        "downloaded": r"\bFile downloaded successfully",
        "download done": r"\bDownload done\.",
    },
    "stlink": {"jolly": r"\bFlash written and verified! jolly good!"},
    "pcsc": {
        "card state:": r"^\s{0,4}Card state: Card (?:inserted|removed)",
        "event number": r"^\s{0,4}Event number: \d",
    },
    "gps": {
        "tpv": r"\{\"class\":\"TPV\",[^{}]{0,200}\"device\":\"/dev/",
    },
}
# Whatever program says it, of its own port.
_OPENED = re.compile(
    r"\b(?:(?:successfully|now) (?:opened|connected)|(?:opened|connected) (?:to )?(?:the )?(?:serial )?port"
    r"|(?:serial )?port (?:\S{1,200} )?(?:was |is )?(?:successfully )?opened|connection (?:re-?)?established)\b",
    re.IGNORECASE,
)
_NOT = re.compile(
    r"\b(?:not|no|never|fail\w{0,4}|cannot|can't|could|couldn't|unable|until|before|when|if|lost|error)\b",
    re.IGNORECASE,
)
_UNIT = re.compile(r"^\s*[●○×*•]?\s*(?P<unit>[\w@.\\:-]{2,80}\.service)(?: - |\s*$)")
_ACTIVE = re.compile(r"^\s*Active: (?P<state>[\w-]+) \((?P<sub>[\w-]+)\)?")
_SINCE = re.compile(r"; (?P<since>[^;]{2,40}) ago\s*$")
_YOUNG = re.compile(r"^(?:\d{1,3}ms|\d(?:\.\d+)?s)$")  # a service that fails again lives some seconds


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each such line: the family of the program, its name in a log, the node and the unit that it speaks of."""
    unit: str | None = None
    failed: set[str] = set()
    for line in lines:
        text = line.text[:_READ]
        if match := _UNIT.match(text):
            unit = match["unit"]
            continue
        if line.prompt is not None:
            continue
        if unit is not None and (match := _ACTIVE.match(text)):
            if match["state"] in ("failed", "activating"):
                failed.add(unit)
            elif unit in failed and match["sub"] == "running" and not _is_young(text):
                name = unit.removesuffix(".service")
                yield Piece("worked", (line.number,), {"family": family(name), "program": name.partition("@")[0]})
            unit = None
            continue
        if found := _said(text):
            yield Piece("worked", (line.number,), found)


def _is_young(text: str) -> bool:
    since = _SINCE.search(text)
    return since is not None and _YOUNG.match(since["since"]) is not None


def _said(text: str) -> dict[str, str | None] | None:
    small = text.lower()
    for name, signs in _SIGNS.items():
        if any(needle in small and re.search(shape, text) for needle, shape in signs.items()):
            return {"family": name}
    if ("open" in small or "connect" in small) and _OPENED.search(text) and not _NOT.search(text):
        program, node = speaker(text), _NODE.search(text)
        if program is not None or node is not None:
            return {"family": family(program or ""), "program": program, "path": node[0] if node else None}
    return None
