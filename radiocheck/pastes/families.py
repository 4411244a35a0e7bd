"""Programs that speak of the same device under several names: a driver, its daemon and its client.

What one of them achieves ends what another one complained of before.
"""

from __future__ import annotations

import re

# Words in the line of a program, or its name.  From memory of the programs.
_FAMILIES: dict[str, re.Pattern[str]] = {
    "ups": re.compile(
        r"\bnut-(?:driver|server|monitor|scanner)|\bups(?:d|mon|drvctl|c)\b|usbhid-ups|nutdrv_qx|blazer_usb|\bHID UPS\b"
        r"|Could not open any HID devices|\bUPS \[|\bUPS \S{1,80} is unavailable|Driver failed to start"
        r"|[Cc]laim USB device"
    ),
    "avrdude": re.compile(r"\bavrdude\b|\bstk500|\bser_(?:open|send|recv)\(\)|\bbutterfly_"),
    "esptool": re.compile(r"\besptool\b|esptool\.py|A fatal error occurred"),
    "openocd": re.compile(r"\bopenocd\b|^Error: (?:libusb_|unable to open|open failed|no device found)"),
    "dfu": re.compile(r"\bdfu-util\b|\bDFU (?:capable )?device"),
    "stlink": re.compile(r"\bst-(?:flash|info|util)\b|stlink"),
    "pcsc": re.compile(r"\bpcscd?\b|pcsc_scan|ccid_usb\.c|ifdhandler\.c|readerfactory\.c|hotplug_lib"),
    "gps": re.compile(r"\bgpsd\b|gpsmon|cgps|gpspipe"),
}
# A log's line: a time, a host, the program with its number
_TAG = re.compile(r"(?:^|\s)(?P<program>[a-zA-Z][\w.@-]{1,60})\[\d{1,8}\]: ")


def family(text: str) -> str | None:
    """The family of the program that a line is from, or that a name is of; None when it is of none."""
    return next((name for name, words in _FAMILIES.items() if words.search(text)), None)


def speaker(text: str) -> str | None:
    """The program that a log names at the beginning of its line."""
    match = _TAG.search(text[:200])
    return match["program"] if match else None
