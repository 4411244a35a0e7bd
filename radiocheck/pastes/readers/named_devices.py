"""Devices that programs name in words of their own: clients of a remote desktop, and the daemon of card readers.

spice-gtk, src/usb-device-manager.c (`%s %s [%04x:%04x] at %d-%d`: bus and number); pcsc-lite, src/hotplug_libudev.c
(`usb:%04x/%04x:libudev:%d:%s`). From memory of those sources.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "devices that programs name"

_READ = 600  # characters of a line that are looked at
_REDIRECTED = re.compile(
    r"\[(?P<vid>[0-9a-f]{4}):(?P<pid>[0-9a-f]{4})\] at (?P<bus>\d{1,3})-(?P<number>\d{1,3})(?![\d.-])"
)
_CARD_READER = re.compile(
    r"\busb:(?P<vid>[0-9a-f]{4})/(?P<pid>[0-9a-f]{4}):libudev:\d{1,3}:/dev/bus/usb/(?P<bus>\d{3})/(?P<number>\d{3})\b"
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Each device that is named with its IDs and its place."""
    for line in lines:
        text = line.text[:_READ]
        for needle, pattern in (("] at ", _REDIRECTED), (":libudev:", _CARD_READER)):
            if needle in text and (match := pattern.search(text)):
                numbers = {"bus": int(match["bus"]), "devnum": int(match["number"])}
                yield Piece("device", (line.number,), {**numbers, "vid": match["vid"], "pid": match["pid"]})
