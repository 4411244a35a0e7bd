"""Xen's domains, as the files say that `xl` starts them from.

xl keeps no list of domains that are off: there are only its configuration files, by custom
/etc/xen/NAME.cfg (xl.cfg(5)), and those that the script `xendomains` starts with the host,
in the folder that XENDOMAINS_AUTO names in /etc/default/xendomains.
"""

from __future__ import annotations

import re

from msgspec.structs import replace

from radiocheck.evidence.record import Gap
from radiocheck.evidence.vm import GivenVm

from .machine import Machine, Seen, decoded, refused
from .xl_cfg import read

CONFIGURED = "/etc/xen"
AUTOSTART = "/etc/xen/auto"
_DEFAULTS = ("/etc/default/xendomains", "/etc/sysconfig/xendomains")


def collect(machine: Machine) -> Seen:
    """`given_vms`: what xl's files say; nothing where there are none."""
    if not machine.exists(CONFIGURED):
        return Seen()
    gaps: list[Gap] = []
    try:
        folder = _autostart(machine)
        files = [f"{CONFIGURED}/{name}" for name in machine.names(CONFIGURED) if name.endswith(".cfg")]
        kept = _read(machine, files, gaps)
        started = [] if folder is None else _read(machine, [f"{folder}/{name}" for name in machine.names(folder)], gaps)
    except OSError as error:
        return Seen({}, (refused("given_vms", error),))
    known = {vm.name for vm in started}
    # A name is one domain on a host (xl.cfg(5)), and the file that starts with the host is the one that counts
    found = [replace(vm, autostart=False) for vm in kept if vm.name not in known]
    found += [replace(vm, autostart=True) for vm in started]
    return Seen({"given_vms": found} if found else {}, tuple(gaps))


def _autostart(machine: Machine) -> str | None:
    """The folder of the domains that start with the host; None: none do.  Raises `OSError`."""
    for file in _DEFAULTS:
        text = machine.attribute(file)
        if text is None:
            continue
        named = re.findall(r"""^[ \t]*XENDOMAINS_AUTO=["']?([^"'\s#]*)""", text, re.MULTILINE)
        if named:
            return named[-1] or None
    return AUTOSTART


def _read(machine: Machine, files: list[str], gaps: list[Gap]) -> list[GivenVm]:
    """The domains in these files.  Raises `OSError` when one is not ours to read: it may hold anything.

    xl starts nothing from a file that it does not understand, so such a file is only told of.
    """
    found: list[GivenVm] = []
    for file in files:
        origin = decoded(file)
        try:
            vm = read(machine.read(file), origin)
        except (FileNotFoundError, IsADirectoryError):
            continue  # a link to nowhere, or removed meanwhile
        except ValueError as error:
            gaps.append(Gap(what=f"given_vms[{origin}]", why="malformed", detail=f"{origin}: {error}"))
            continue
        if vm.name is not None:  # else no domain: xl demands a name
            found.append(vm)
    return found
