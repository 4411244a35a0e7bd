"""VM configurations that a person gives as a file, for hosts whose manager hides its own.  Pure: no file is read here.

Every reader takes the bytes of a file and what to call it, gives one record per VM, and
raises `ValueError` with one sentence (without the file's name) when it could not read all of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from msgspec import UNSET

from radiocheck.evidence.vm import GivenVm

from . import domain_xml, xl_cfg
from .qemu_args import parse
from .quoting import one_line, shown
from .shell_words import Command, commands

ARGS_LIMIT = 6 << 20  # bytes; Linux takes no longer command line (fs/exec.c, bprm_stack_limits: 3/4 of _STK_LIM)
MOST_WORDS = 100  # that one JSON argument is put together from
LIMITS = {"vm_args": ARGS_LIMIT, "vm_xml": domain_xml.XML_LIMIT, "vm_xl": xl_cfg.XL_LIMIT}

# Patterns are compiled when they are first used: a check loads every module here, and few checks need this one.
# With or without a path, and behind systemd's `ExecStart=`
_PROGRAM = r"(?s)(?:\w+=[@:+!|-]*)?(?:.*/)?(?:qemu-system-[\w.+-]+|qemu-kvm|kvm)"
AS_IT_RUNS = "give the running command instead: /proc/PID/cmdline, or a copy of that file"
XML_ADVICE = "give what `virsh dumpxml --inactive VM` prints, or its <hostdev> elements"

# `qemu-system-x86_64 -help` (7.2): the options that take no value
_ALONE = frozenset(
    """
    h help version mem-prealloc audio-help snapshot usb nographic portrait full-screen win2k-hack no-fd-bootchk no-acpi
    no-hpet singlestep preconfig S s enable-kvm xen-attach xen-domid-restrict no-reboot no-shutdown daemonize
    only-migratable nodefaults no-user-config enable-sync-profile
    """.split()
)
_EXPANSIONS = ("$", "`", "<", ">")
_TTY_OPTIONS = ("serial", "parallel", "monitor", "qmp", "qmp-pretty", "debugcon", "gdb")
_RAW_JSON = r'(?m)(?:^|\s)\{\s*"\w+"\s*:'
_COLUMNS = r"[^\w/]*\d+\s|\s*(?!timeout\s|chrt\s|taskset\s)[\w.+-]+\s+\d+\s"  # of ps(1), pgrep -a, systemctl status


def vm_args(data: bytes, origin: str) -> list[GivenVm]:
    """QEMU command lines: from /proc/PID/cmdline, from ps(1), from a script, or only the options."""
    text = _decoded(data, ARGS_LIMIT)
    found: list[GivenVm] = []
    for words in _command_lines(text):
        told = parse(words)
        if told.elsewhere:
            file = shown(told.elsewhere[0])
            raise ValueError(f"takes more devices from the file {file} (-readconfig); write them into the command line")
        found.append(
            GivenVm(
                name=told.name,
                manager="libvirt" if told.libvirt else "qemu",
                origin=origin,
                arguments=told.usb,
                pci=told.pci,
                ttys=told.ttys,
                # Options alone may be a part of them
                usb_bus=told.usb_bus or (False if _is_program(words[0]) else UNSET),
            )
        )
    if not found:
        raise ValueError(
            "has no QEMU command line: neither a program (qemu-system-…, qemu-kvm, kvm) with options nor the options "
            f"alone; {AS_IT_RUNS}"
        )
    return _each_once(found)


def vm_xml(data: bytes, origin: str) -> list[GivenVm]:
    """A libvirt domain XML, or only its `<devices>` or `<hostdev>` elements."""
    _bounded(data, domain_xml.XML_LIMIT)
    if not data.strip():
        raise ValueError(f"is empty; {XML_ADVICE}")
    try:
        pasted = domain_xml.pasted(data)
    except ValueError as error:
        sentence = one_line(str(error)).rstrip(".")
        raise ValueError(f"{sentence[:1].lower()}{sentence[1:]}; {XML_ADVICE}") from None
    return _each_once(
        [
            GivenVm(
                name=one.name,
                manager="xen" if one.hypervisor == "xen" else "libvirt",
                origin=origin,
                hostdevs=one.definition.usb,
                pci=one.definition.pci,
                ttys=one.definition.ttys,
                usb_bus=one.definition.usb_bus,
            )
            for one in pasted
        ]
    )


def vm_xl(data: bytes, origin: str) -> list[GivenVm]:
    """An xl configuration file (xl.cfg(5)), or only its lines of devices."""
    text = _decoded(data, xl_cfg.XL_LIMIT)
    try:
        return [xl_cfg.read(text, origin)]
    except ValueError as error:
        raise ValueError(f"{error}; see xl.cfg(5)") from None


def _bounded(data: bytes, limit: int) -> None:
    if len(data) > limit:
        raise ValueError(f"is larger than {limit >> 20} MB, which no such configuration is; give the VM's own file")


def _decoded(data: bytes, limit: int) -> str:
    _bounded(data, limit)
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise ValueError("is UTF-16 text; save it as UTF-8")
    text = data.removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace").replace("\r\n", "\n")
    if not text.strip():
        raise ValueError("is empty; give the file that holds the VM's configuration")
    return text


def _each_once(found: list[GivenVm]) -> list[GivenVm]:
    """Without repetitions.  Raises `ValueError` when one VM is described in two ways."""
    known: dict[str | None, GivenVm] = {}
    once: list[GivenVm] = []
    for vm in found:
        before = known.setdefault(vm.name, vm)
        if before is vm:
            once.append(vm)
        elif before != vm:
            who = shown(vm.name) if vm.name else "a VM without a name"
            raise ValueError(f"describes {who} twice and differently; leave only the description that counts")
    return once


# --- command lines


def _command_lines(text: str) -> Iterator[list[str]]:
    """The words of each QEMU command, from the program on."""
    if "\0" in text:  # proc_pid_cmdline(5)
        yield from _one_command(text.rstrip("\0\n").split("\0"))
        return
    lines = text.strip().split("\n")
    if len(lines) > 1 and _is_program(lines[0].strip()) and lines[1].startswith("-"):
        yield from _one_command(lines)  # one argument on each line
    elif re.search(_RAW_JSON, text) or any(re.match(_COLUMNS, line) and _program(line.split()) for line in lines):
        for line in lines:
            yield from _one_command(_unquoted(line.split()))
    else:
        for command in _joined(commands(text)):
            yield from _shell_command(command)


def _joined(found: list[Command]) -> list[Command]:
    """Lines that begin with an option belong to the command above: the paste lost its continuation marks."""
    whole: list[Command] = []
    for command in found:
        if whole and _is_option(command.words[0]):
            above = whole.pop()
            moved = {len(above.words) + place for place in command.expanded}
            command = Command(above.words + command.words, above.expanded | moved)
        whole.append(command)
    return whole


def _one_command(words: list[str], expanded: frozenset[int] = frozenset()) -> Iterator[list[str]]:
    """The words from the program on, when it is QEMU with at least one option, or options alone."""
    start = 0 if words and words[0].startswith("-") else _program(words)
    if start is not None and any(_is_option(words[place]) or place in expanded for place in range(start, len(words))):
        yield words[start:]


def _program(words: list[str]) -> int | None:
    """The position of QEMU behind whatever starts it: sudo, env, exec, taskset, ps's columns."""
    return next((place for place, word in enumerate(words) if _is_program(word)), None)


def _is_program(word: str) -> bool:
    return re.fullmatch(_PROGRAM, word) is not None


def _is_option(word: str) -> bool:
    return len(word) > 1 and word.startswith("-")


def _unquoted(words: list[str]) -> list[str]:
    """Words of a line that lost its quotes (ps prints none): a JSON argument and a name may hold blanks."""
    whole: list[str] = []
    place = 0
    while place < len(words):
        end = place + 1
        if words[place].startswith("{"):
            end = _end_of_json(words, place)
        elif whole and whole[-1] in ("-name", "--name"):
            while end < len(words) and not _is_option(words[end]):
                end += 1
        whole.append(" ".join(words[place:end]))
        place = end
    return whole


def _end_of_json(words: list[str], start: int) -> int:
    """The position behind the words that make one JSON object; the next word when none do."""
    import json  # few texts have such arguments

    text = " ".join(words[start : start + MOST_WORDS])
    try:
        length = json.JSONDecoder().raw_decode(text)[1]
    except (ValueError, RecursionError):
        return start + 1
    return start + text.count(" ", 0, length) + 1


def _shell_command(command: Command) -> Iterator[list[str]]:
    """A command of a script.  Raises `ValueError` when variables hide what it hands over."""
    for words in _one_command(*command):
        start = len(command.words) - len(words)
        kept: list[str] = []
        for place, word in enumerate(words):
            if start + place not in command.expanded:
                kept.append(word)
                continue
            option = words[place - 1].lstrip("-") if place and _is_option(words[place - 1]) else ""
            if place and (not option or option in _ALONE):
                raise ValueError(f"takes options from {shown(word)}, which only the shell knows; {AS_IT_RUNS}")
            if _may_hand_over(option, word):
                raise ValueError(f"-{option} {shown(word)} holds what only the shell knows; {AS_IT_RUNS}")
            kept.append("" if option == "name" else word)
        yield kept


def _may_hand_over(option: str, value: str) -> bool:
    """Whether an option with that value, of which a part is not known, may concern the path."""
    if option == "device":
        return value.startswith((*_EXPANSIONS, "{", "usb-host", "vfio-pci", "driver="))
    if option == "chardev":
        return value.startswith((*_EXPANSIONS, "{", "serial", "tty", "backend="))
    if option in _TTY_OPTIONS:
        return value.startswith((*_EXPANSIONS, "mon:", "/dev/"))
    return option in ("usbdevice", "readconfig")
