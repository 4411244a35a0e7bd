"""Services that are known to take serial ports, to block USB devices or to suspend them."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator

from radiocheck.evidence.absent import UNSET, UnsetType
from radiocheck.evidence.record import Gap
from radiocheck.evidence.serial import Service

from . import proc
from .machine import Machine, Seen, ToolHung, ToolMissing, decoded, refused

BOOTED = "/run/systemd/system"  # there exactly when systemd is in charge, sd_booted(3)
UNITS = {
    "ModemManager.service": "modem-prober",
    "brltty.service": "braille",
    "brltty-udev.service": "braille",
    "brltty@*.service": "braille",
    "gpsd.service": "gps",
    "gpsd.socket": "gps",
    "gpsdctl@*.service": "gps",
    "usbguard.service": "usb-guard",
    "tlp.service": "power-saver",
    "powertop.service": "power-saver",
    "laptop-mode.service": "power-saver",
    "tuned.service": "power-saver",
    "fwupd.service": "firmware-updater",
    "serial-getty@*.service": "serial-console",
}
PROGRAMS = {  # by command name, for machines without systemd
    "ModemManager": "modem-prober",
    "brltty": "braille",
    "gpsd": "gps",
    "usbguard-daemon": "usb-guard",
    "tuned": "power-saver",
    "fwupd": "firmware-updater",
    "agetty": "serial-console",
    "getty": "serial-console",
}
PROPERTIES = ("Id", "LoadState", "ActiveState", "UnitFileState", "ExecStart", "MainPID")
POLICY = "strict"  # without an option; ModemManager NEWS, 1.14.0: "switched to 'STRICT' filter mode by default"
NEWER_WORDS = {"allowlist-only": "whitelist-only"}  # ModemManager 1.20 takes both for the same policy

_RUNS = frozenset({"active", "reloading", "activating"})
_STARTS = frozenset({"enabled", "enabled-runtime", "linked", "linked-runtime", "alias", "generated"})
_STARTS_NOT = frozenset({"disabled", "static", "indirect", "transient", "masked", "masked-runtime"})


def collect(machine: Machine) -> Seen:
    """`services`: those of the known ones that are installed here, or, without systemd, that run."""
    if not machine.exists(BOOTED):
        return _running(machine)
    # --all: without it a pattern matches only what runs
    argv = ["systemctl", "show", "--all", "--no-pager", "-p", ",".join(PROPERTIES), "--", *UNITS]
    try:
        ran = machine.run(argv)
    except ToolMissing:
        return Seen({}, (Gap(what="services", why="no-tool", detail="systemctl is not there"),))
    except ToolHung:
        return Seen({}, (Gap(what="services", why="timed-out", detail="systemctl show did not end"),))
    if ran.code != 0:
        detail = ran.err.strip().split("\n")[0] or f"systemctl show ended with status {ran.code}"
        return Seen({}, (Gap(what="services", why="failed", detail=detail),))
    gaps: list[Gap] = []
    services = [_service(machine, unit, gaps) for unit in units(ran.out) if unit.get("LoadState") == "loaded"]
    return Seen({"services": [each for each in services if each is not None]}, tuple(gaps))


def units(text: str) -> Iterator[dict[str, str]]:
    """The units of `systemctl show`: blocks of `Key=value`, one blank line between two."""
    for block in text.split("\n\n"):
        unit: dict[str, str] = {}
        for line in block.split("\n"):
            key, equals, value = line.partition("=")
            if equals:
                unit.setdefault(key, value)  # ExecStart comes once per command; the first one counts
        if "Id" in unit:
            yield unit


def _service(machine: Machine, unit: dict[str, str], gaps: list[Gap]) -> Service | None:
    name = unit["Id"]
    template = re.sub(r"@.*(?=\.)", "@*", name)
    kind = UNITS.get(template)
    if kind is None:
        return None
    state = unit.get("UnitFileState", "")
    policy: str | UnsetType | None = None
    if kind == "modem-prober":
        policy = _policy(_argv(machine, unit))
        if policy is UNSET:
            gaps.append(Gap(what=f"services[{name}].policy", why="failed", detail="its command line is not known"))
    instance = name.partition("@")[2].rpartition(".")[0]
    return Service(
        kind=kind,
        unit=name,
        active=unit["ActiveState"] in _RUNS if unit.get("ActiveState") else UNSET,
        enabled=True if state in _STARTS else False if state in _STARTS_NOT else UNSET,
        policy=policy,
        tty=_tty(machine, instance) if instance else None,
    )


def _argv(machine: Machine, unit: dict[str, str]) -> list[str]:
    """The command line of the running process, else the one of the unit; empty when not known.

    The process may be older than the last change of its unit, and it is the process that
    takes ports now.
    """
    pid = unit.get("MainPID", "0")
    if pid.isdecimal() and int(pid) and (words := proc.arguments(machine, int(pid))):
        return words
    found = re.search(r"argv\[\]=(.*?) ; ", unit.get("ExecStart", ""))
    return found[1].split() if found else []


def _policy(words: list[str]) -> str | UnsetType:
    """The filter policy on a modem prober's command line, in lower case."""
    if not words or any("$" in word for word in words):  # a variable may hold the option
        return UNSET
    policy = POLICY
    for word, following in zip(words, [*words[1:], ""], strict=True):
        if word.startswith("--filter-policy="):
            policy = word.partition("=")[2].lower()
        elif word == "--filter-policy" and following:
            policy = following.lower()
    return decoded(NEWER_WORDS.get(policy, policy))


def _tty(machine: Machine, instance: str) -> str:
    """The tty that a unit's instance names: a path below /dev in systemd's escaping, systemd.unit(5)."""
    path = re.sub(r"\\x([0-9a-f]{2})", lambda code: chr(int(code[1], 16)), instance.replace("-", "/"))
    try:
        return decoded(machine.target(f"/dev/{path}") or os.path.basename(path))
    except OSError:
        return os.path.basename(path)


def _running(machine: Machine) -> Seen:
    """What runs of the known programs; what is only installed cannot be told without systemd."""
    try:
        pids = proc.pids(machine)
    except OSError as error:
        return Seen({}, (refused("services", error),))
    if not pids:
        return Seen({}, (Gap(what="services", why="not-here", detail="neither systemd nor /proc is here"),))
    if gap := proc.hidden(machine, "services"):  # a list is complete or absent
        return Seen({}, (gap,))
    services = []
    for pid in pids:
        name = proc.command(machine, pid)
        kind = PROGRAMS.get(name)
        if kind is None:
            continue
        words = proc.arguments(machine, pid)
        tty = next((word for word in map(os.path.basename, words[1:]) if word.startswith("tty")), None)
        services.append(
            Service(
                kind=kind,
                unit=name,
                active=True,
                policy=_policy(words) if kind == "modem-prober" else None,
                tty=decoded(tty) if kind == "serial-console" and tty else None,
            )
        )
    detail = "systemd is not in charge here: only running programs show, not what starts at boot"
    return Seen({"services": services}, (Gap(what="services", why="not-here", detail=detail),))
