"""Vendor names by USB vendor ID, from the `usb.ids` file of the machine when it has one.

Format: http://www.linux-usb.org/usb-ids.html: `vvvv  Name` for a vendor at the start of
a line; the vendors come first, further sections start with a letter code such as `C 00`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

# Debian's usb.ids package; its real place there; Fedora's and others' hwdata package.
FILES = ("/usr/share/misc/usb.ids", "/var/lib/usbutils/usb.ids", "/usr/share/hwdata/usb.ids")
LIMIT = 8 << 20  # bytes; the list is under one


def name(vid: str | None, files: Sequence[str] = FILES) -> str | None:
    """The vendor's name for four hex digits; None when it, or every file, is unknown."""
    if vid is None or not re.fullmatch("[0-9a-f]{4}", vid):
        return None
    start = f"{vid}  ".encode()
    for path in files:
        try:
            with open(path, "rb") as file:
                data = b"\n" + file.read(LIMIT)
        except OSError:
            continue
        at = data.find(b"\n" + start)
        if at >= 0:
            line = data[at + 1 + len(start) :].split(b"\n", 1)[0]
            return line.decode("utf-8", "replace").strip() or None
        return None
    return None
