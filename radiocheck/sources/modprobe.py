"""Settings of kernel modules: the files of modprobe.d(5) and the kernel's command line.

Every function raises `OSError` when a file is there and cannot be read.
"""

from __future__ import annotations

from collections.abc import Iterator

from .machine import Machine, decoded

COMMAND_LINE = "/proc/cmdline"
FOLDERS = (  # the first file of a name hides the others: kmod's order, libkmod/libkmod.c
    "/etc/modprobe.d",
    "/run/modprobe.d",
    "/usr/local/lib/modprobe.d",
    "/usr/lib/modprobe.d",
    "/lib/modprobe.d",
)


def commands(machine: Machine) -> Iterator[tuple[str, list[str]]]:
    """Each line of the settings in force as words, with its file's name for people.

    A backslash at the end of a line continues it.
    """
    files: dict[str, str] = {}
    for folder in FOLDERS:
        for name in machine.names(folder):
            if name.endswith(".conf") and not name.startswith("."):
                files.setdefault(name, f"{folder}/{name}")
    for name in sorted(files):
        text = machine.attribute(files[name]) or ""
        for line in text.replace("\0", "").replace("\\\n", " ").splitlines():
            if (words := line.split()) and not words[0].startswith("#"):
                yield decoded(files[name]), words


def boot_options(machine: Machine) -> Iterator[tuple[str, str]]:
    """The words of the kernel's command line as option and value ("" when it has none)."""
    for word in (machine.attribute(COMMAND_LINE) or "").split():
        option, _, value = word.strip('"').partition("=")
        yield option, value


def plain(name: str) -> str:
    """A module's name in its one form; modprobe.d(5): dash and underscore are the same in it."""
    return name.replace("-", "_")
