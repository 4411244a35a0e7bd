"""What the chip behind a port says of itself: that its boot loader runs, or its application, or that it has none.

A program that gets no answer tells nothing of the chip.  These words do: they came through the
port, so it could be opened and at least one direction works.  What a person says is taken only
where it stands beside the boot loader's own words, of which it tells what became.

Formats from memory: esptool (esptool/loader.py, `_connect_attempt` and `connect`), the boot loaders
of ESP32 (ROM; ESP-IDF, bootloader_utility.c), of EFR32 and EM35x (menu of the serial ones) and MCUboot
(boot/zephyr/main.c).  A boot loader that a tool has started is no news; one that shows its menu in a
terminal is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.evidence.serial import AppMessage
from radiocheck.pastes.line import Line
from radiocheck.pastes.node_names import node_in, node_named
from radiocheck.pastes.piece import Piece

TITLE = "the words of a chip's firmware"

_READ = 400  # characters of a line that are looked at
_NEAR = 60  # lines from the name of a port to what came out of it
_SOON = 8  # lines from a boot loader's menu to what a person says of it

# Kind → its words; a piece in small letters that must be there comes first, as it refutes a line cheaply.
_WORDS: tuple[tuple[str, str, re.Pattern[str]], ...] = (
    (
        "application",
        "wrong boot mode",
        re.compile(r"\bFailed to connect to [\w -]{1,40}: Wrong boot mode detected \(0x[0-9a-f]{1,4}\)"),
    ),
    (
        "deaf-boot-loader",
        "no sync reply",
        re.compile(
            r"\bFailed to connect to [\w -]{1,40}: Download mode (?:successfully )?detected, but getting no sync reply"
        ),
    ),
    ("no-application", "invalid header: 0x", re.compile(r"^\W{0,4}invalid header: 0x[0-9a-f]{8}\s{0,3}$")),
    ("no-application", "flash read err", re.compile(r"^\W{0,4}flash read err, \d{1,5}\b")),
    ("no-application", "no bootable app", re.compile(r"\bboot: No bootable app partitions\b")),
    ("no-application", "bootable image", re.compile(r"\bUnable to find bootable image\b")),
)
_MENU = re.compile(r"^\W{0,4}1\. upload (?:gbl|ebl|s37|firmware)\b", re.IGNORECASE)
_TOLD_TO_RUN = re.compile(r"^\W{0,4}(?:BL|btl) ?> {0,3}(?:2|run)\s{0,3}$", re.IGNORECASE)
_FINE = re.compile(
    r"^\W{0,4}(?:Chip is ESP|Chip type: {1,20}ESP|Connected to ESP|Detecting chip type\.{1,4} ?ESP"
    r"|Hash of data verified|Serial upload complete)"
)
# What a person saw after choosing `run`; after an upload the menu comes back as well.
_AGAIN = re.compile(
    r"\b(?:same|menu|prompt|boot ?loader|it)\b.{0,60}\b(?:again|comes? back|came back|returns?|reappears?)\b"
    r"|\bback (?:in|into|to|at) (?:the |its |that )?(?:same )?(?:menu|prompt|boot ?loader)"
    r"|\b(?:wieder|erneut) (?:das|ins|im) (?:gleiche |selbe )?(?:Menü|Bootloader)|\b(?:gleiche|selbe) Menü"
    r"|\bmême menu\b|\bmismo menú|\bstesso menu|\b(?:zelfde|hetzelfde) menu|\bto samo menu|\bто же меню",
    re.IGNORECASE,
)
_RUN = re.compile(r"\b2\b|\brun\b", re.IGNORECASE)
# Somebody who asks or advises repeats the words.
_ADVICE = re.compile(r"^\W{0,3}(?:if|when|in case|wenn|falls|si|als|jeśli|если)\b|\?\W{0,3}$", re.IGNORECASE)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One message for each time that the firmware names its state; `answered` where a later word takes it back."""
    port: tuple[int, str] | None = None
    menu: Line | None = None
    to_run = troubled = False
    for line in lines:
        text = (line.prompt if line.prompt is not None else line.text)[:_READ]
        if named := node_in(text) or node_named(text):
            port = (line.number, named)
        if line.prompt is not None or not text.strip():
            continue
        path = port[1] if port is not None and line.number - port[0] <= _NEAR else None
        if _TOLD_TO_RUN.match(text) and menu is not None:
            to_run = True
            continue
        kind, words = _state(text), text
        numbers: tuple[int, ...] = (line.number,)
        if _MENU.match(text):
            kind = "boot-loader-again" if to_run else "boot-loader"
            menu, to_run = line, False
        elif kind is None and menu is not None and 0 < line.number - menu.number <= _SOON and _came_back(text):
            kind, numbers, words = "boot-loader-again", (menu.number, line.number), menu.text[:_READ]
        elif kind is None and troubled and _FINE.search(text):
            kind, menu, to_run = "answered", None, False
        if kind is None:
            continue
        troubled = kind != "answered"
        yield Piece("app", numbers, AppMessage(kind=kind, path=path, text=words.strip()))


def _state(text: str) -> str | None:
    small = text.lower()
    for kind, needle, pattern in _WORDS:
        if needle in small and pattern.search(text) and not _ADVICE.search(text):
            return kind
    return None


def _came_back(text: str) -> bool:
    return _AGAIN.search(text) is not None and _RUN.search(text) is not None and not _ADVICE.search(text)
