"""Kernel modules that USB interfaces ask for, and what keeps them from being loaded.

An interface's `modalias` (drivers/usb/core/sysfs.c) is compared with the patterns that
depmod(8) wrote to modules.alias and the build to modules.builtin.modinfo (kernel's
scripts/mod/file2alias.c makes them), as kmod does it: fnmatch(3).  Settings are those
of modprobe.d(5), and `module_blacklist=` and `modprobe.blacklist=` of the kernel's
command line.  `alias` lines of modprobe.d are not followed.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Iterable
from typing import Any

from radiocheck.evidence.absent import UNSET
from radiocheck.evidence.record import Gap
from radiocheck.evidence.usb import Module

from .machine import Machine, Seen, refused
from .modprobe import boot_options, commands, plain

DEVICES = "/sys/bus/usb/devices"
LOCK = "/proc/sys/kernel/modules_disabled"  # 1: no module can be loaded any more (admin-guide/sysctl/kernel.rst)
SERIAL_CLASSES = {"02", "0a", "ff"}  # communications, its data interface, vendor specific
_VENDOR = re.compile(r"usb:v([0-9A-F]{4})p")
_REFUSING = re.compile(r"(?:/usr)?(?:/bin/)?(?:true|false)|:|exit(?: \d+)?|/dev/null")


def collect(machine: Machine) -> Seen:
    """`modules`: every module that matches an interface which is serial by class, or has no driver.

    Null `blocked_by` means that no setting stands in the way, of the module or of one it needs.
    """
    if not machine.exists(DEVICES) and not machine.exists("/sys/bus"):
        return _unseen("not-here", "/sys is not mounted")
    gaps: list[Gap] = []
    try:
        wanted = _wanted(machine)
        if not wanted:
            return Seen({"modules": []}, tuple(gaps))
        release = (machine.attribute("/proc/sys/kernel/osrelease") or "").strip()
        if not re.fullmatch(r"[\w.+~-]{1,64}", release):  # uname(2) has room for 64 characters
            return _unseen("not-here", "the kernel's release is not readable")
        folder = f"/lib/modules/{release}"
        aliases = machine.attribute(f"{folder}/modules.alias")
        depends = machine.attribute(f"{folder}/modules.dep")
        if aliases is None or depends is None:
            seen = _unseen("not-here", f"{folder} has no modules.alias and modules.dep", "run on the host itself")
            return Seen({"module_files": False}, seen.gaps)
        builtin = machine.attribute(f"{folder}/modules.builtin") or ""
        modinfo = machine.attribute(f"{folder}/modules.builtin.modinfo") or ""
        locked = (machine.attribute(LOCK) or "").strip() == "1"
    except OSError as error:
        return Seen(gaps=(refused("modules", error),))
    asked = _matches(set(wanted.values()), aliases, modinfo)
    built_in = {_module_name(line) for line in builtin.splitlines()}
    files, needs = _needs(depends, {name for names in asked.values() for name in names})
    blocks = _blocks(machine, gaps)
    found: dict[str, list[str]] = {}
    for interface, modalias in wanted.items():
        for name in asked[modalias]:
            found.setdefault(name, []).append(interface)
    modules: list[Module] = []
    for name, interfaces in sorted(found.items()):
        is_loaded = name in built_in or machine.exists(f"/sys/module/{name}")
        blocked_by = None if name in built_in else _blocked_by(name, needs.get(name, []), blocks)
        if locked and not is_loaded and not blocked_by:
            blocked_by = f"{LOCK}: 1"
        modules.append(
            Module(
                name=name,
                interfaces=sorted(interfaces),
                loaded=is_loaded,
                # An upgrade that went half way leaves a list whose files are gone.
                available=name in built_in or (name in files and machine.exists(posixpath.join(folder, files[name]))),
                blocked_by=blocked_by,
            )
        )
    return Seen({"modules": modules, "module_files": True}, tuple(gaps))


def _unseen(why: str, detail: str, provide: str = "") -> Seen:
    return Seen(gaps=(Gap(what="modules", why=why, detail=detail, provide=provide),))


def _wanted(machine: Machine) -> dict[str, str]:
    """Modalias by interface.  Raises `OSError` when one cannot be read: the list would not be complete."""
    wanted: dict[str, str] = {}
    for name in machine.names(DEVICES):
        if ":" not in name:
            continue
        folder = f"{DEVICES}/{name}"
        serial = machine.attribute(f"{folder}/bInterfaceClass") in SERIAL_CLASSES
        if not serial and machine.target(f"{folder}/driver") is not None:
            continue
        modalias = machine.attribute(f"{folder}/modalias")
        if modalias:
            wanted[name] = modalias.replace("\0", "").strip()
    return wanted


def _matches(modaliases: set[str], aliases: str, modinfo: str) -> dict[str, set[str]]:
    """Module names by modalias.

    file2alias.c writes the vendor as four digits or as `*`, so all lines of other
    vendors, which is nearly all, are passed over by one search before fnmatch.
    """
    from fnmatch import fnmatchcase

    vendors = {match[1] for modalias in modaliases if (match := _VENDOR.match(modalias))}
    ours = rf"usb:(?:v(?:{'|'.join(vendors) or '-'})p|(?!v[0-9A-F]{{4}}p))[^\s\0]*"
    listed = re.findall(rf"\nalias ({ours}) (\S+)", "\n" + aliases)
    listed += [(alias, name) for name, alias in re.findall(rf"\0([\w-]+)\.alias=({ours})", "\0" + modinfo)]
    found: dict[str, set[str]] = {modalias: set() for modalias in modaliases}
    for alias, name in set(listed):
        for modalias, names in found.items():
            if fnmatchcase(modalias, alias):
                names.add(plain(name))
    return found


def _module_name(path: str) -> str:
    """`kernel/drivers/usb/serial/usb-serial-simple.ko.xz` is the module usb_serial_simple."""
    return path.rpartition("/")[2].partition(".ko")[0].replace("-", "_")


def _needs(depends: str, names: Iterable[str]) -> tuple[dict[str, str], dict[str, list[str]]]:
    """Each module's file, and the modules that it needs, by the lines of modules.dep(5); no entry where none is listed.

    File names are relative to the folder of the list, or begin with a slash.
    """
    files: dict[str, str] = {}
    needs: dict[str, list[str]] = {}
    depends = "/" + depends.replace("\n", "\n/")  # so that each file name follows a slash: a fast search
    for name in names:
        file = re.escape(name).replace("_", "[-_]")
        match = re.search(rf"/{file}\.ko[.\w]*:(.*)", depends)
        if match:
            start = depends.rindex("\n", 0, match.start()) + 2 if "\n" in depends[: match.start()] else 1
            files[name] = depends[start : match.start(1) - 1]
            needs[name] = [_module_name(path) for path in match[1].split()]
    return files, needs


def _blocks(machine: Machine, gaps: list[Gap]) -> tuple[dict[str, str], dict[str, str]] | None:
    """Settings that stop a module when an interface asks for it, and those that stop it for whoever asks.

    None, with a gap, when a settings file could not be read: then nothing is certainly free.
    """
    asked: dict[str, str] = {}
    always: dict[str, str] = {}
    try:
        for shown, words in commands(machine):
            if words[0] == "blacklist" and len(words) > 1:
                asked.setdefault(plain(words[1]), f"{shown}: blacklist {words[1]}")
            elif words[0] == "install" and len(words) > 2 and _REFUSING.fullmatch(command := " ".join(words[2:])):
                always.setdefault(plain(words[1]), f"{shown}: install {words[1]} {command}")
        for option, names in boot_options(machine):
            if option in ("module_blacklist", "modprobe.blacklist"):
                stopped = always if option == "module_blacklist" else asked  # the kernel's own refuses in any case
                for name in names.split(","):
                    stopped.setdefault(plain(name), f"/proc/cmdline: {option}={name}")
    except OSError as error:
        gaps.append(refused("modules[].blocked_by", error))
        return None
    return asked, always


def _blocked_by(name: str, needs: list[str], blocks: tuple[dict[str, str], dict[str, str]] | None) -> Any:
    """modprobe.d(5): `blacklist` hides a module's own aliases, and does not touch one that another module needs."""
    if blocks is None:
        return UNSET
    asked, always = blocks
    return asked.get(name) or next((always[each] for each in [name, *needs] if each in always), None)
