"""The node of a port that a line names."""

from __future__ import annotations

import re

_NODE = r"/dev/(?:serial/by-\w{2,6}/[\w.:+-]{1,200}|bus/usb/\d{3}/\d{3}|(?:tty|cu)[\w.-]{1,30}|[a-z][\w-]{1,30}(?!/)\b)"
_PATH = re.compile(_NODE)
_TTY = re.compile(r"\b(?P<tty>tty(?:USB|ACM)\d{1,4})\b")
_UNIT = re.compile(r"\bdev-(?P<name>[\w.:@\\-]{1,200})\.device\b")  # systemd-escape(1)
_ESCAPED = re.compile(r"\\x([0-9a-f]{2})")


def node_in(text: str) -> str | None:
    """A path that stands in a text, as in a command."""
    path = _PATH.search(text)
    return path[0] if path else None


def node_named(text: str) -> str | None:
    """The node that a line names; systemd's unit for it and a bare ttyUSB0 are one, too."""
    if path := _PATH.search(text):
        return path[0].rstrip(".:-,")
    if unit := _UNIT.search(text):
        return f"/dev/{_ESCAPED.sub(lambda code: chr(int(code[1], 16)), unit['name'].replace('-', '/'))}"
    tty = _TTY.search(text)
    return f"/dev/{tty['tty']}" if tty else None
