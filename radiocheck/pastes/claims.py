"""What links under /dev/serial/by-id tell beyond their target: that the tty is there, and who else wants the name.

udev makes the name of maker, product and serial number (`ID_SERIAL`), the interface and
the port (rules.d/60-serial.rules).  Two adapters that have these in common want one link.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from msgspec.structs import replace

from radiocheck.evidence.serial import AppMessage, Link
from radiocheck.evidence.usb import UsbDevice, UsbInterface

from .line import Line
from .nodes import TTY
from .piece import Piece

BY_ID = "/dev/serial/by-id/"
_BY_PATH = re.compile(r"/dev/serial/by-path/[\w.:+-]{4,120}")
_LISTS = re.compile(r"(?:ls|stat|readlink|udevadm|find|tree)\b")


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
    for piece in pieces:  # the number alone: the one link in the folder must end with it
        if piece.kind == "tty" and (short := piece.value.get("serial_short")):
            stems = {
                one.path.removeprefix(f"{BY_ID}usb-").partition("-if")[0] for one in links if f"_{short}-if" in one.path
            }
            if len(stems) == 1:
                serials.setdefault(piece.value["name"], stems.pop())
    made = []
    for link in links:
        serial = next((one for one in set(serials.values()) if link.path.startswith(f"{BY_ID}usb-{one}-if")), None)
        alike = [one for one in links if serial is not None and one.path.startswith(f"{BY_ID}usb-{serial}-if")]
        wanted = sorted(name for name, one in serials.items() if one == serial)
        shared = len(alike) == 1 < len(wanted) and link.target in wanted
        made.append(replace(link, claimants=wanted) if shared and _at_once(wanted, pieces) else link)
    return made


def claimed_by_twins(links: Sequence[Link], devices: Sequence[UsbDevice], pieces: Sequence[Piece]) -> list[Link]:
    """The links, with those that want one, where the serial numbers of the devices themselves show it.

    Two devices with one serial number have a tty each, and the whole folder has one link for both.
    """
    if not any(piece.kind == "whole" and piece.value in ("by-id", "links") for piece in pieces):
        return list(links)
    ttys: dict[tuple[object, ...], list[str]] = {}
    for device in devices:
        own = [tty for one in _interfaces(device) if isinstance(one.ttys, list) for tty in one.ttys]
        if isinstance(device.serial, str) and len(own) == 1:
            ttys.setdefault((device.serial, device.vid, device.pid), []).extend(own)
    made = list(links)
    for (serial, *_), wanted in ttys.items():
        here = [at for at, one in enumerate(links) if one.path.startswith(BY_ID) and one.target in wanted]
        if len(wanted) > 1 and len(here) == 1 and f"_{serial}-if" in links[here[0]].path:
            made[here[0]] = replace(links[here[0]], claimants=sorted(wanted))
    return made


def _interfaces(device: UsbDevice) -> Sequence[UsbInterface]:
    return device.interfaces if isinstance(device.interfaces, list) else []


def goes_by_path(rows: Sequence[Line]) -> bool:
    """Whether a line names a link under /dev/serial/by-path for a program, and not in a list of links."""
    return any(
        (match := _BY_PATH.search(row.text[:600])) is not None
        and " -> " not in row.text
        and row.text.strip() != match[0]
        for row in rows
        if row.prompt is None or not _LISTS.match(row.prompt)
    )


def _at_once(names: Sequence[str], pieces: Sequence[Piece]) -> bool:
    """Whether one list of nodes, or of the sockets' links, has them all, line by line."""
    run: set[str] = set()
    last = -1
    for piece in pieces:
        name = _listed(piece)
        if name is None:
            continue
        if piece.lines[0] not in (last, last + 1):
            run = set()
        run.add(name)
        last = piece.lines[-1]
        if run >= set(names):
            return True
    return False


def _listed(piece: Piece) -> str | None:
    """The tty of a row of `ls -l`."""
    if piece.kind == "tty" and "node" in piece.value:
        return str(piece.value["name"])
    if piece.kind == "link" and "/by-path/" in piece.value.path and isinstance(piece.value.target, str):
        return piece.value.target
    return None


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
