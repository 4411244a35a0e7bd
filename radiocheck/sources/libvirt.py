"""libvirt's domains: what each may have of the host now, and at its next start.

`virsh -r` is asked when libvirt's daemon runs already; else its files are read.  virsh
alone would not do: where systemd holds the sockets, connecting to one starts the daemon,
and looking at a machine must not start anything on it.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from typing import Any

from msgspec import Struct, field

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.record import Gap
from radiocheck.evidence.vm import Definition, Domain

from . import proc
from .domain_xml import DomainXml
from .domain_xml import read as read_xml
from .machine import Machine, Seen, ToolHung, ToolMissing, decoded, refused

CONFIGURED = "/etc/libvirt/qemu"  # libvirt's src/qemu/qemu_conf.c: configDir, and stateDir
LIVE = "/run/libvirt/qemu"
_DAEMONS = {"libvirtd": "/run/libvirtd.pid", "virtqemud": "/run/virtqemud.pid"}
_VIRSH = ("virsh", "-q", "-r", "-c", "qemu:///system")
_LIMIT = 15.0  # seconds for one virsh
_BATCH = 100  # domains in one virsh: a start costs some 30 ms, the answers next to nothing
_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


class _Refused(Exception):
    """virsh gave no list; the gap says why."""

    def __init__(self, gap: Gap) -> None:
        super().__init__(gap.detail)
        self.gap = gap


def collect(machine: Machine) -> Seen:
    """`domains`: all domains of the system's QEMU driver; none where there is no libvirt."""
    if not machine.exists(CONFIGURED) and not machine.exists(LIVE):
        return Seen({"domains": []})
    gaps: list[Gap] = []
    if _daemon_runs(machine):
        try:
            domains, gaps = _by_virsh(machine)
            domains += _unloaded(machine, {domain.name for domain in domains})
            return Seen({"domains": domains}, tuple(gaps))
        except _Refused as refusal:
            gaps = [refusal.gap]
    return _by_files(machine, gaps)


def _gap(what: str, why: str, detail: str, provide: str = "") -> Gap:
    return Gap(what=what, why=why, detail=detail, provide=provide)


def _daemon_runs(machine: Machine) -> bool:
    """Whether libvirt's daemon for QEMU, of one piece or of several, is running now."""
    for name, file in _DAEMONS.items():
        try:
            pid = int(machine.attribute(file) or "0")
        except (OSError, ValueError):
            continue
        if pid > 0 and proc.command(machine, pid) == name:
            return True
    return False


# --- by virsh


def _virsh(machine: Machine, command: str) -> str:
    try:
        ran = machine.run([*_VIRSH, command], limit=_LIMIT)
    except ToolMissing:
        raise _Refused(_gap("domains", "no-tool", "virsh is not installed", "run as root")) from None
    except ToolHung:
        detail = f"virsh did not answer within {_LIMIT:g} s although libvirt's daemon runs"
        raise _Refused(_gap("domains", "timed-out", detail)) from None
    if ran.code:
        error = next((line for line in ran.err.splitlines() if line), f"virsh ended with status {ran.code}")
        denied = "ermission denied" in error or "authentication" in error
        raise _Refused(_gap("domains", "denied" if denied else "failed", error[:200], "run as root"))
    return ran.out


def _by_virsh(machine: Machine) -> tuple[list[Domain], list[Gap]]:
    """All domains, in two calls.  Domains go by UUID: a name may hold blanks, quotes and semicolons."""
    uuids = [line.strip() for line in _virsh(machine, "list --all --uuid").split("\n")]
    uuids = [uuid for uuid in uuids if _UUID.fullmatch(uuid)]
    domains: list[Domain] = []
    gaps: list[Gap] = []
    for start in range(0, len(uuids), _BATCH):
        for about, live, inactive in _answers(machine, uuids[start : start + _BATCH]):
            if domain := _domain(about, live, inactive, gaps):
                domains.append(domain)
    return domains, gaps


def _answers(machine: Machine, uuids: Sequence[str]) -> Iterator[tuple[str, str, str]]:
    """`dominfo` and both XMLs of each domain; empty where it went away meanwhile (virsh goes on with the next)."""
    mark = f"end-{os.urandom(8).hex()}"  # nothing that a domain's description could hold
    questions = ("dominfo {}", "dumpxml {}", "dumpxml --inactive {}")
    commands = [f"{question.format(uuid)}; echo {mark}" for uuid in uuids for question in questions]
    parts = _virsh(machine, "; ".join(commands)).split(mark)  # with -q, echo ends no line
    for index in range(0, len(parts) - 2, 3):
        yield parts[index], parts[index + 1], parts[index + 2]


def _domain(about: str, live: str, inactive: str, gaps: list[Gap]) -> Domain | None:
    info = {key.strip(): value.strip() for key, _, value in (line.partition(":") for line in about.split("\n"))}
    name = info.get("Name")
    if not name:
        return None
    facts: dict[str, Any] = {}
    if info.get("UUID"):
        facts["uuid"] = info["UUID"]
    if info.get("State"):
        facts["state"] = info["State"]
    if info.get("Autostart") in ("enable", "disable"):
        facts["autostart"] = info["Autostart"] == "enable"
    if info.get("Persistent") in ("yes", "no"):
        facts["persistent"] = info["Persistent"] == "yes"
    if "Id" in info:
        facts["live"] = None if info["Id"] == "-" else _definition(live, f"domains[{name}].live", gaps)
    facts["next"] = None if facts.get("persistent") is False else _definition(inactive, f"domains[{name}].next", gaps)
    return Domain(name=name, **facts)


def _definition(xml: str, what: str, gaps: list[Gap]) -> Definition | UnsetType:
    try:
        return read_xml(xml.strip()).definition
    except ValueError as error:
        gaps.append(_gap(what, "malformed", str(error)))
        return UNSET


# --- by the files


class _Files(Struct):
    """The XML files of one folder by name, and the names of those that could not be read."""

    read: dict[str, DomainXml] = field(default_factory=dict)
    unread: set[str] = field(default_factory=set)


def _by_files(machine: Machine, gaps: list[Gap]) -> Seen:
    try:
        configured, live = _files(machine, CONFIGURED, gaps), _files(machine, LIVE, gaps)
        started = {name.removesuffix(".xml") for name in machine.names(f"{CONFIGURED}/autostart")}
    except OSError as error:
        return Seen({}, (*gaps, refused("domains", error)))
    names = {*configured.read, *configured.unread, *live.read, *live.unread}
    for name in [name for name, each in live.read.items() if not _lives(machine, each.process)]:
        del live.read[name]  # a leftover: libvirt's daemon does not run, and did not see the process end
        if name not in configured.read and name not in configured.unread:
            names.remove(name)  # a transient domain ended with its process
    domains = [_of_files(name, configured, live, name in started) for name in sorted(names)]
    return Seen({"domains": domains}, tuple(gaps))


def _unloaded(machine: Machine, listed: set[str]) -> list[Domain]:
    """Domains whose file libvirt would not load, so that it does not know them (a file copied by hand, an upgrade).

    Without root the folder is closed, and libvirt's own list is all there is.
    """
    try:
        configured = _files(machine, CONFIGURED, [])
        started = {name.removesuffix(".xml") for name in machine.names(f"{CONFIGURED}/autostart")}
    except OSError:
        return []
    return [
        _of_files(name, configured, _Files(), name in started) for name in sorted(configured.read) if name not in listed
    ]


def _files(machine: Machine, folder: str, gaps: list[Gap]) -> _Files:
    """The domains below a folder.  Raises `OSError` when its names are not ours to see."""
    found = _Files()
    for file in machine.names(folder):
        name = decoded(file.removesuffix(".xml"))
        if not file.endswith(".xml"):
            continue
        try:
            found.read[name] = read_xml(machine.read_bytes(f"{folder}/{file}"))
        except FileNotFoundError:
            continue  # the domain was removed meanwhile
        except OSError as error:
            found.unread.add(name)
            if (gap := refused("domains", error)) not in gaps:  # one for all of them
                gaps.append(gap)
        except ValueError as error:
            found.unread.add(name)
            gaps.append(_gap(f"domains[{name}]", "malformed", f"{folder}/{name}.xml: {error}"))
    return found


def _lives(machine: Machine, process: int | None) -> bool:
    fields = proc.stat_fields(machine, process) if process else []
    return bool(fields) and fields[0] not in ("Z", "X")  # proc(5): zombie, dead


def _of_files(name: str, configured: _Files, live: _Files, autostart: bool) -> Domain:
    kept, running = configured.read.get(name), live.read.get(name)
    facts: dict[str, Any] = {"persistent": name in configured.read or name in configured.unread, "autostart": autostart}
    if uuid := next((each.uuid for each in (running, kept) if each and each.uuid), None):
        facts["uuid"] = uuid
    if running:
        facts["live"] = running.definition
        if running.state:
            facts["state"] = running.state
    elif name not in live.unread:
        facts |= {"live": None, "state": "shut off"}
    if name not in configured.unread:
        facts["next"] = kept.definition if kept else None
    known = kept or running
    return Domain(name=known.name if known else name, **facts)
