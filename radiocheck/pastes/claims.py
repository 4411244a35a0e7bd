"""What links under /dev/serial/by-id tell beyond their target: that the tty is there, and who else wants the name.

udev makes the name of maker, product and serial number (`ID_SERIAL`), the interface and
the port (rules.d/60-serial.rules).  Two adapters that have these in common want one link.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from radiocheck.evidence.serial import AppMessage, Link

from .nodes import TTY
from .piece import Piece

BY_ID = "/dev/serial/by-id/"


def claimed(links: Sequence[Link], pieces: Sequence[Piece]) -> list[Link]:
    """The links, with those that want one, where it shows.

    An adapter with two ports has one `ID_SERIAL` for both, and a link for each; one that was
    plugged in again has two numbers, one after the other.  So the folder must have been listed
    whole with one link for all of them, and the ttys in one list.
    """
    if not any(piece.kind == "whole" and piece.value in ("by-id", "links") for piece in pieces):
        return list(links)
    serials = {}
    for piece in pieces:
        if piece.kind == "tty" and (
            serial := piece.value.get("id_serial") or piece.value.get("udev", {}).get("ID_SERIAL")
        ):
            serials[piece.value["name"]] = serial
    made = []
    for link in links:
        serial = next((one for one in set(serials.values()) if link.path.startswith(f"{BY_ID}usb-{one}-if")), None)
        alike = [one for one in links if serial is not None and one.path.startswith(f"{BY_ID}usb-{serial}-if")]
        wanted = sorted(name for name, one in serials.items() if one == serial)
        shared = len(alike) == 1 < len(wanted) and link.target in wanted
        made.append(replace(link, claimants=wanted) if shared and _at_once(wanted, pieces) else link)
    return made


def _at_once(names: Sequence[str], pieces: Sequence[Piece]) -> bool:
    """Whether one list of nodes, line by line, has them all."""
    run: set[str] = set()
    last = -1
    for piece in pieces:
        if piece.kind != "tty" or "node" not in piece.value:
            continue
        if piece.lines[0] not in (last, last + 1):
            run = set()
        run.add(piece.value["name"])
        last = piece.lines[-1]
        if run >= set(names):
            return True
    return False


def linked(links: Sequence[Link], messages: Sequence[AppMessage]) -> list[str]:
    """Ttys that links lead to, and that no program missed."""
    missed = {one.path for one in messages if one.kind == "missing" and not one.over}
    return [
        link.target
        for link in links
        if isinstance(link.target, str)
        and TTY.fullmatch(node := f"/dev/{link.target}")
        and not missed & {link.path, node}
    ]
