"""A paste of a host and of its VM whose trouble is in the VM: the VM's part of it.

The host's side and the VM's are two machines' evidence, and a paste is judged as one.  Where the
host shows nothing wrong, and in the VM a driver's module is not there or a program was
refused its port, the VM's part is what is judged.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from radiocheck.chain.adapters import SERIAL_MODULES
from radiocheck.chain.mentioned import TROUBLE

from .line import Line
from .nodes import PORT
from .piece import Piece

# What a host's log tells of every adapter that goes to a VM: its driver lets go, and QEMU resets it.
_HANDING_OVER = frozenset({"reset", "detached", "converter-gone", "unclaimed-use", "urb-stopped"})
_OF_HOSTS = frozenset({"qemu", "domain", "given", "vm_message"})
_REFUSED = frozenset({"denied", "not-permitted", "busy"})


def of_the_guest(pieces: Sequence[Piece], rows: Sequence[Line], guest: set[int]) -> list[Piece] | None:
    """The pieces of the VM, when the trouble is there; None when the paste is judged whole.

    `guest`: the numbers of the VM's rows.
    """
    if not guest:
        return None
    inside = [_own(one) for one in pieces if one.kind not in _OF_HOSTS and guest.issuperset(one.lines)]
    outside = [one for one in pieces if not guest & set(one.lines)]
    alone = not outside and guest.issuperset(row.number for row in rows if row.prompt is not None)
    if alone or any(_is_trouble(one) for one in outside) or not (_lacks_driver(inside) or _is_refused(inside)):
        return None
    return inside


def _own(one: Piece) -> Piece:
    """A device that is elsewhere for the host is at home here."""
    if one.kind != "device" or "elsewhere" not in one.value:
        return one
    return replace(one, value={key: item for key, item in one.value.items() if key != "elsewhere"})


def _is_trouble(one: Piece) -> bool:
    """Whether something went wrong on the host."""
    if one.kind == "app":
        return one.value.kind in _REFUSED and not one.value.over
    if one.kind == "event":
        return one.value[1].kind in TROUBLE - _HANDING_OVER
    return one.kind == "vm_message"


def _lacks_driver(inside: Sequence[Piece]) -> bool:
    """A serial driver's module is not there, and neither is a port; a device is."""
    lost = any(
        one.kind == "module" and one.value.get("available") is False and one.value["name"] in SERIAL_MODULES
        for one in inside
    )
    served = any(
        one.kind == "tty" or (one.kind == "event" and one.value[1].kind in ("attached", "acm")) for one in inside
    )
    return lost and not served and any(one.kind in ("device", "event") for one in inside)


def _is_refused(inside: Sequence[Piece]) -> bool:
    """A program was kept from a serial port."""
    return any(
        one.kind == "app" and one.value.kind in _REFUSED and not one.value.over and PORT.match(one.value.path or "")
        for one in inside
    )
