"""A paste as evidence: all readers' pieces put together.

What was not pasted is absent, with a gap that says which command would show it.  A list
of which a part was pasted is named in `partly`, so that nothing is concluded from what it
lacks.
"""

from __future__ import annotations

import importlib
import pkgutil
import time
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import Any

from msgspec import UNSET, Struct

import radiocheck.pastes.readers
from radiocheck import __version__
from radiocheck.evidence.air import AirReading
from radiocheck.evidence.record import FORMAT, Event, Evidence, Gap, Host, KernelLog, Taken, interfaces_of
from radiocheck.evidence.serial import FROM_PORT, AppMessage, Handles, Link, Node, Service, UdevRule
from radiocheck.evidence.usb import Controller, Module
from radiocheck.evidence.vm import Domain, GivenVm, QemuProcess, VmMessage

from . import machines, nodes
from .ask import command_for
from .bus_log import replay
from .claims import claimed, claimed_by_twins, goes_by_path, linked
from .clock import Clocks, clocks, timed
from .devices import Record, made, of_this_machine, together
from .inner import of_the_guest
from .join import by_tty, spoken_of
from .line import Line, lines
from .moments import current
from .native import where
from .over import settled
from .piece import Piece
from .refusals import named, told
from .sides import of_host
from .speakers import of_guests
from .tie import tie

Read = Callable[[Sequence[Line]], Iterator[Piece]]

MOST_PIECES = 100_000  # of one reader; what is beyond them is not read
MOST_EVENTS = 4000  # the newest are kept, as of a live log
# Fields that a paste can show.  All are absent, or hold a part only, unless a reader says that they are whole.
LISTS = (
    "usb controllers modules ttys links usb_nodes users handles services qemu domains vm_messages app_messages"
).split()


# What a piece of each kind holds; others are not taken.
TYPES: dict[str, type] = {
    **dict.fromkeys(("device", "log", "tty", "user", "handle", "module", "controller", "host", "wifi", "worked"), dict),
    "command-error": dict,
    "whole": str,
    "event": tuple,
    "link": Link,
    "usb_node": Node,
    "service": Service,
    "qemu": QemuProcess,
    "domain": Domain,
    "given": GivenVm,
    "vm_message": VmMessage,
    "app": AppMessage,
    "air": AirReading,
    "udev_rule": UdevRule,
}


class Frame(Struct, frozen=True):
    """What is settled by the whole paste, and stays the same when only a part of its pieces is put together."""

    clocks: Clocks
    where: str | None  # the machine that it was made on: `native`, `guest`, or not known
    by_path: bool = False  # a program goes by the names of the sockets


class Reading(Struct, frozen=True):
    """What was read from a paste."""

    evidence: Evidence
    pieces: list[Piece]
    rows: list[Line]
    frame: Frame

    @property
    def used(self) -> set[int]:
        """The numbers of the lines that said something."""
        return {number for piece in self.pieces for number in piece.lines}

    @property
    def total(self) -> int:
        """How many lines there are that are not empty."""
        return len({row.number for row in self.rows if row.text.strip()})


@cache
def readers() -> dict[str, Read]:
    """All readers by name: the modules of `readers` that have a `read`."""
    found: dict[str, Read] = {}
    for module in pkgutil.iter_modules(radiocheck.pastes.readers.__path__):
        loaded = importlib.import_module(f"radiocheck.pastes.readers.{module.name}")
        if hasattr(loaded, "read"):
            found[module.name] = loaded.read
    return found


def read(data: bytes, now: float | None = None) -> Reading:
    """Read a paste.  `now` (Unix seconds): when it was pasted, if its logs do not tell.

    Raises `ValueError` with one sentence when it is larger than the bounds of `line`.
    """
    rows = lines(data)
    pieces = [piece for one in readers().values() for piece in _pieces(one, rows)]
    logged = {number for piece in pieces if piece.kind == "event" for number in piece.lines}
    # The kernel's words are no program's, even where their time was cut off.
    pieces = [piece for piece in pieces if piece.kind != "app" or not logged.issuperset(piece.lines)]
    pieces.sort(key=lambda piece: piece.lines[0])
    pieces = settled(pieces, rows)
    guest = of_guests(rows)
    inner = of_the_guest(pieces, rows, guest)
    pieces = of_host(pieces, guest) if inner is None else inner
    place = where(pieces, rows) if inner is None else "guest"
    frame = Frame(clocks(pieces, time.time() if now is None else now), place, goes_by_path(rows))
    return Reading(evidence(pieces, frame), pieces, rows, frame)


def _pieces(reader: Read, rows: Sequence[Line]) -> list[Piece]:
    """What one reader finds; a reader's bug must not cost what the others found, nor what it found before."""
    found: list[Piece] = []
    try:
        for piece in reader(rows):
            if piece.lines and isinstance(piece.value, TYPES.get(piece.kind, ())):
                found.append(piece)
            if len(found) >= MOST_PIECES:
                break
    except Exception:  # whatever it is, the rest of the paste still counts
        return found
    return found


def evidence(pieces: Sequence[Piece], frame: Frame) -> Evidence:
    """The evidence that these pieces make."""
    pieces = current(pieces)
    of: dict[str, list[Any]] = {kind: [] for kind in TYPES}
    for piece in pieces:
        of[piece.kind].append(piece.value)
    whole = set(of["whole"])
    log = [one.event for one in timed(pieces, frame.clocks)]
    bus = replay(log)
    accounts, groups = nodes.Names(), nodes.Names()
    facts: dict[str, Any] = {}
    facts["users"] = nodes.users(of["user"], accounts, groups)
    facts["links"] = nodes.links(of["link"])
    if not frame.by_path:  # who goes by the sockets is not concerned by names that two share
        facts["links"] = claimed(facts["links"], pieces)
    facts["qemu"] = machines.processes(of["qemu"])
    facts["handles"] = nodes.handles(of["handle"], facts["links"], {one.pid for one in facts["qemu"]}, accounts)
    facts["app_messages"] = of["app"]
    facts["air_readings"] = of["air"]
    # What a VM lists is on none of its host's buses.
    found = together(of_this_machine(of["device"]), bus)
    names = _ttys(found.records, facts["handles"], of["service"], log)
    targets = linked(facts["links"], of["app"])
    # Only where nothing else tells of ttys: a list of links may be of another moment than the rest.
    if not (names or log or of["tty"] or "ttys" in whole or (found.records and len(targets) > 1)):
        names = targets
    listed = nodes.ttys(of["tty"], of["app"], names, accounts, groups)
    if frame.where is not None and not found.records and not listed and any(_of_port(one) for one in of["app"]):
        found.records.append(Record({}))  # which was not seen
    if frame.where is not None:  # else `lsusb` and the log may be of two machines
        by_tty(found.records, listed)
    facts["ttys"] = tie(found.records, listed, facts["links"])
    if found.left or found.added:
        whole.discard("usb")
    facts["usb"], open_ = made(found.records)
    facts["links"] = facts["links"] if frame.by_path else claimed_by_twins(facts["links"], facts["usb"], pieces)
    facts["usb_nodes"] = [nodes.node(one, accounts, groups) for one in of["usb_node"]]
    facts |= {
        "domains": machines.domains(of["domain"]),
        "services": list(of["service"]),
        "modules": _modules(of["module"]),
        "controllers": _controllers(of["controller"]),
        "vm_messages": list(of["vm_message"]),
    }
    nothing = {what for error in of["command-error"] if (what := _nothing_there(error))}
    whole |= nothing
    kept: dict[str, Any] = {name: value for name, value in facts.items() if value or name in whole}
    if "handles" in kept:
        kept["handles"] = Handles(open=kept["handles"])
    partly = [name for name in kept if name not in whole] + [interfaces_of(name) for name in open_]
    configured = named(machines.given(of["given"]), of["vm_message"])
    configured += told(of["vm_message"], facts["domains"], facts["qemu"], configured, of["app"])
    if configured:
        kept["given_vms"] = configured
    if of["udev_rule"]:
        kept["udev_rules"] = of["udev_rule"]
    if of["host"]:
        kept["host"] = _host(of["host"])
        if any(one.get("module_files") is False for one in of["host"]):
            kept["module_files"] = False
    if log or of["log"]:
        kept["kernel_log"] = _log(log, of["log"])
        partly += [] if kept["kernel_log"].from_boot else ["kernel_log"]
    assumes = [frame.where] if frame.where is not None else []
    return Evidence(
        radiocheck_evidence=FORMAT,
        taken=Taken(at=frame.clocks.end, tool=__version__, origin="paste", assumes=assumes),
        partly=partly,
        gaps=_gaps(kept, partly, of["command-error"]),
        **kept,
    )


def _ttys(
    records: Sequence[Record], held: Sequence[Any], services: Sequence[Service], log: Sequence[Event]
) -> list[str]:
    """Ttys that the log saw made or has errors of, that somebody holds, and that a service runs on.

    systemd stops a service of a tty with it (BindsTo= in serial-getty@.service).
    """
    logged = [tty for record in records for one in record.interfaces.values() for tty in one.get("ttys", [])]
    opened = [match[1] for one in held if not one.deleted and (match := nodes.TTY.fullmatch(one.path))]
    running = [one.tty for one in services if one.active is True and isinstance(one.tty, str)]
    served = [tty for tty in running if nodes.TTY.fullmatch(f"/dev/{tty}")]
    return list(dict.fromkeys([*logged, *opened, *served, *spoken_of(log)]))


def _of_port(message: AppMessage) -> bool:
    """Whether a program was kept from a USB device that it does not name, or something came out of a port."""
    if message.kind in FROM_PORT:
        return True
    kept = message.kind in ("busy", "denied", "not-permitted")
    return kept and message.path is None and "usb" in message.text.lower()


def _modules(values: Sequence[dict[str, Any]]) -> list[Module]:
    found: dict[str, dict[str, Any]] = {}
    for value in values:
        name = value["name"].replace("-", "_")
        found.setdefault(name, {}).update(value | {"name": name})
    return [Module(**value) for value in found.values()]


def _controllers(values: Sequence[dict[str, Any]]) -> list[Controller]:
    found: dict[str, dict[str, Any]] = {}
    for value in values:
        found.setdefault(value["address"], {}).update(value)
    return [Controller(**value) for value in found.values()]


def _host(values: Sequence[dict[str, Any]]) -> Host:
    merged: dict[str, Any] = {}
    for value in values:
        merged |= {key: item for key, item in value.items() if key in Host.__struct_fields__}
    return Host(**merged)


def _log(events: Sequence[Any], told: Sequence[dict[str, Any]]) -> KernelLog:
    newest = list(events[-MOST_EVENTS:])
    from_boot = any(value.get("from_boot") is True for value in told) and len(newest) == len(events)
    since = next((event.at for event in newest if event.at is not None), None)
    return KernelLog(source="paste", events=newest, since=since, from_boot=from_boot)


def _nothing_there(error: dict[str, Any]) -> str | None:
    """The list that is empty, when a command found none of it."""
    command = error.get("command", "")
    if error.get("kind") != "nothing-there":
        return None
    # udev makes the folder with the first link (src/udev/udev-node.c)
    return "links" if command.rstrip("/").endswith(("/dev/serial", "/dev/serial/by-id")) else None


def _gaps(facts: dict[str, Any], partly: Sequence[str], errors: Sequence[dict[str, Any]]) -> list[Gap]:
    """Why each field is absent or not whole, with the command that would show it."""
    failed = {_field(error.get("command", "")): error for error in errors}
    gaps = []
    for name in [*LISTS, "kernel_log", "host", "ports", "disks", "pci_functions"]:
        if name in facts and name not in partly:
            continue
        error = failed.get(name)
        why, detail = "not-here", "not in the paste" if name not in facts else "only a part of it is in the paste"
        if error is not None and error.get("kind") in ("no-tool", "denied") and name not in facts:
            why, detail = error["kind"], str(error.get("text", ""))[:200]
        gaps.append(Gap(what=name, why=why, detail=detail, provide=command_for(name)))
    devices = facts.get("usb", [])
    if any(one.interfaces is UNSET or interfaces_of(one.name) in partly for one in devices):
        what = "usb.interfaces"
        gaps.append(Gap(what=what, why="not-here", detail="not in the paste", provide=command_for(what)))
    return gaps


def _field(command: str) -> str:
    """The field that a command would have shown."""
    word = command.split(" ", 1)[0]
    return {
        "lsusb": "usb", "usb-devices": "usb", "dmesg": "kernel_log", "journalctl": "kernel_log", "lspci": "controllers",
        "lsof": "handles", "fuser": "handles", "virsh": "domains", "udevadm": "ttys",
    }.get(word, "")  # fmt: skip


def nothing(reading: Reading) -> bool:
    """Whether nothing in the paste was recognised."""
    return not any(piece.kind not in ("wifi", "command-error", "worked") for piece in reading.pieces)
