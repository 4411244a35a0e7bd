"""What a piece of configuration is made of: facts in forms that may stand in a file.

Facts may come from a device, a log or another configuration that means harm.  Whatever
does not have the one harmless form is left out, and then nothing is made at all or a
match is dropped; nothing is quoted or escaped into shape.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from msgspec import Struct

from .template import ABSENT, look_up

Facts = Mapping[str, Any]

ID = re.compile(r"[0-9a-f]{4}")
# Ports of a device and of the hubs above it; libvirt takes four (its schemas, usbPort), QEMU and sysfs more.
PORT = re.compile(r"[1-9][0-9]{0,2}(?:\.[1-9][0-9]{0,2}){0,3}")
LONG_PORT = re.compile(r"[1-9][0-9]{0,2}(?:\.[1-9][0-9]{0,2}){0,6}")
PCI = re.compile(r"([0-9a-f]{4}):([0-9a-f]{2}):([0-9a-f]{2})\.([0-7])")
# Without quotes, backslashes, blanks and the signs of udev's patterns (* ? [ ] |) and substitutions ($ %).
SERIAL = re.compile(r"[A-Za-z0-9._:+=@-]{1,126}")
# The signs that udev itself keeps in a name (systemd, src/shared/device-nodes.c), less the backslash.
LINK = re.compile(r"/dev/serial/by-(?:id|path)/[A-Za-z0-9#+.:=@_-]{1,200}")
ACCOUNT = re.compile(r"[a-z_][a-z0-9_-]{0,30}|[1-9][0-9]{0,8}")
POLICIES = ("mandatory", "requisite", "optional")  # libvirt's schemas, startupPolicy


class Made(Struct, frozen=True):
    """Configuration to paste, and in one sentence what is given up by that choice."""

    text: str
    gives_up: str


class Snippet(Struct, frozen=True):
    """One kind of configuration: what it is, and how it is made of the facts of an adapter and a VM."""

    what: str
    make: Callable[[Facts], Made | None]


def word(facts: Facts, path: str, form: re.Pattern[str]) -> str | None:
    """The fact, if it is known and has that form."""
    value = look_up(facts, path)
    return value if isinstance(value, str) and form.fullmatch(value) else None


def number(facts: Facts, path: str, least: int, most: int) -> int | None:
    """The fact, if it is a number in that range."""
    value = look_up(facts, path)
    return value if isinstance(value, int) and not isinstance(value, bool) and least <= value <= most else None


def here(facts: Facts) -> bool:
    """Whether the adapter is on the bus."""
    return look_up(facts, "adapter.present") is True


def ids(facts: Facts) -> tuple[str, str] | None:
    """Vendor and product ID."""
    vid, pid = word(facts, "adapter.vid", ID), word(facts, "adapter.pid", ID)
    return (vid, pid) if vid and pid else None


def unique(facts: Facts) -> bool | None:
    """Whether no other device that is present has its IDs; None: not known."""
    twins = number(facts, "adapter.twins", 0, 1 << 16)
    return None if twins is None else twins == 0


def bus(facts: Facts) -> int | None:
    """Its bus; libvirt's schemas allow three digits."""
    return number(facts, "adapter.bus", 1, 999)


def listed(facts: Facts, path: str) -> list[str] | None:
    """A list of words; None: not known."""
    value = look_up(facts, path)
    return None if value is ABSENT or not isinstance(value, list) else [str(one) for one in value]


def whole_controller(facts: Facts) -> tuple[str, str] | None:
    """The PCI controller above the adapter, if a VM can be given it, and what the host gives up with it."""
    address = word(facts, "adapter.controller", PCI)
    beside = listed(facts, "adapter.beside")
    if not here(facts) or address is None or beside is None:
        return None
    if look_up(facts, "adapter.iommu") is not True or listed(facts, "adapter.group_others") != []:
        return None
    if listed(facts, "adapter.beside_mounts") != []:  # the host would lose its own disk, or nobody knows
        return None
    lost = "; ".join(dict.fromkeys(beside)) or "nothing else at the moment"
    return address, (
        "the host loses the whole controller with all its sockets for as long as the VM runs; "
        f"on it beside the adapter: {lost}"
    )
