"""Sentences and commands with values in them: `{adapter.serial}`.

Only a dotted lower-case path in braces is a placeholder, so that udev's `ATTR{idVendor}`
and the shell's `${HOME}` stay as they are.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping
from typing import Any

PLACEHOLDER = re.compile(r"(?<!\$)\{([a-z_]+(?:\.[a-z_]+)+)\}")
PRINTABLE = re.compile(r"[\x20-\x7e]*")
PLAIN = re.compile(r"[A-Za-z0-9@%_+=:,./-]*")  # what shlex.quote leaves as it is
QUOTING = re.compile(r"['\"`]|<<")
ABSENT = object()


def placeholders(text: str) -> tuple[str, ...]:
    """The paths that the text asks for, in order, each once."""
    return tuple(dict.fromkeys(PLACEHOLDER.findall(text)))


def look_up(facts: Mapping[str, Any], path: str) -> Any:
    """The value at a dotted path; `ABSENT` when it is not there.  Lists of records are gathered."""
    value: Any = facts
    for part in path.split("."):
        if isinstance(value, list):
            value = [item[part] for item in value if isinstance(item, dict) and part in item]
        elif isinstance(value, dict) and part in value:
            value = value[part]
        else:
            return ABSENT
    return value


def fill(text: str, facts: Mapping[str, Any]) -> str:
    """The sentence with its values; what is not known is said to be so."""

    def word(match: re.Match[str]) -> str:
        value = look_up(facts, match.group(1))
        if value is ABSENT:
            return "(not seen)"
        return _word(value)

    return PLACEHOLDER.sub(word, text)


def complete(text: str, facts: Mapping[str, Any]) -> bool:
    """Whether every value that the text asks for is known and not null or empty."""
    return all(look_up(facts, path) not in (ABSENT, None, [], "") for path in placeholders(text))


def command(text: str, facts: Mapping[str, Any]) -> str | None:
    """The command with values quoted for a POSIX shell; None when one is not known.

    A value with control or non-ASCII characters gives None too: what a device says of
    itself must not be able to write a command that does something else than it shows.
    Inside quotes or a here-document the shell's quoting does not hold, so a command that
    has any of them takes only values without special characters.
    """
    for path in placeholders(text):
        value = look_up(facts, path)
        if value in (ABSENT, None, [], ""):
            return None
        allowed = PLAIN if QUOTING.search(text) else PRINTABLE
        if not allowed.fullmatch(_word(value)):
            return None
    return PLACEHOLDER.sub(lambda match: shlex.quote(_word(look_up(facts, match.group(1)))), text)


def _word(value: Any) -> str:
    if value is None:
        return "none"
    if value is True or value is False:
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(dict.fromkeys(_word(item) for item in value)) or "none"
    return str(value)
