"""Which libvirt is installed, by the file name of its library.

libvirt counts a library's revision as MAJOR × 1000 + MINOR and names the file by it
(its meson.build: `libvirt_lib_version`, seen as libvirt.so.0.9000.0 with 9.0.0 and
libvirt.so.0.12008.0 with 12.8.0).  Reading one link asks no daemon, which might not run.
"""

from __future__ import annotations

import re

from radiocheck.evidence.record import Gap

from .machine import Machine, Seen

CONFIGURED = "/etc/libvirt"
LIBRARY = "libvirt.so.0"
FOLDERS = ("/usr/lib64", "/usr/lib", "/usr/local/lib64", "/usr/local/lib")
_NAME = re.compile(r"libvirt\.so\.0\.(\d{4,6})\.(\d{1,3})")
_TRIPLET = re.compile(r"[a-z0-9_]+-linux-[a-z0-9_]+")  # Debian's folders of one architecture


def collect(machine: Machine) -> Seen:
    """`libvirt_version`: "9.0.0"; none where there is neither a library nor a configuration."""
    try:
        folders = [*FOLDERS, *(f"/usr/lib/{name}" for name in machine.names("/usr/lib") if _TRIPLET.fullmatch(name))]
        targets = [machine.target(f"{folder}/{LIBRARY}") for folder in folders]
        configured = machine.exists(CONFIGURED)
    except OSError as error:
        return Seen({}, (_gap("failed", str(error.strerror)),))
    for target in targets:
        if target is not None and (match := _NAME.fullmatch(target)):
            number = int(match[1])
            return Seen({"libvirt_version": f"{number // 1000}.{number % 1000}.{match[2]}"})
    if configured or any(target is not None for target in targets):
        return Seen({}, (_gap("not-here", f"no {LIBRARY} in the usual folders tells its version"),))
    return Seen({"libvirt_version": None})


def _gap(why: str, detail: str) -> Gap:
    # Of a part, not of the whole: a report tells it only where something depends on it.
    return Gap(what="libvirt_version.library", why=why, detail=detail)
