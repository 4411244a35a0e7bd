"""What programs say when they cannot use a port: the words of strerror(3), in any frame around them.

The phrases are in pastes/failures.  The word that names the node stands in the same line,
or in one of the two lines before it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.evidence.serial import AppMessage
from radiocheck.pastes.failures import failure
from radiocheck.pastes.line import Line
from radiocheck.pastes.mentions import vms
from radiocheck.pastes.node_names import node_in, node_named
from radiocheck.pastes.piece import Piece
from radiocheck.sources import vm_log

TITLE = "a program's words"

TEXT_LIMIT = 400  # characters of a message that are kept
_READ = 1_000  # characters of a line that are looked at

_ABOUT = re.compile(
    r"serial|usb|tty|/dev/|\bports?\b|device|adapter|modem|dongle|programmer|\bups\b|\bgps\b|receiver|probe|hid|uart"
    r"|modbus|radio|\bsync\b|packet header|gnu\.io|jssc",
    re.I,
)
# What concerns no port: scripts and settings that are missing, tools whose errors are read elsewhere, networks.
_OTHER = re.compile(
    r"No such file or directory.{0,80}\.(?:py|so|conf|ya?ml|json|txt|sh|service|rules|h|c)\b"
    r"|\.(?:py|so|conf|ya?ml|json|txt|sh|rules|ko|h)['\"]?: (?:No such|Permission)|command not found|dmesg:"
    r"|^\s*(?:ls|stat|grep|find|udevadm|rm|cd|lsof|fuser|getfacl|readlink|chmod|chown|modprobe|docker\.sock): "
    r"|Cannot stat file|\bssh|https?://|/dev/(?:null|zero|shm|kmsg|sd[a-z]|nvme|mapper|fuse|kvm)\b"
    r"|Connection refused|[Nn]o route to host|\b(?:curl|wget|apt|dpkg)\b"
)
# A person who asks or advises repeats the words, and reports nothing.
_ADVICE = re.compile(
    r"^\W{0,3}(?:if|when|in case|make sure|check|try|should|maybe|perhaps|wenn|falls|si|jeśli|если|does|do|is|are|why"
    r"|how|what)\b|\?\W*$|\byou (?:get|see|should|need|may|might|can)\b|\bif (?:you|it|that|this|the)\b",
    re.IGNORECASE,
)
_PROSE = re.compile(r"\b(?:I|I'm|I've|my|me|we|you|your|ich|mein|meine|je|mon|yo|mi|я|меня|ja|mnie)\b", re.IGNORECASE)
# How lines of programs begin, and what only they say
_FRAME = re.compile(
    r"^\s*(?:\[?\d{4}-\d\d-\d\d|\[|<\d|\w{3} [ \d]\d \d\d:\d\d|\d\d:\d\d:\d\d|\d{10}|[\w./-]{1,60}(?:\[\d{1,8}\])?: )"
    r"|\b(?:ERROR|WARN(?:ING)?|FATAL|fatal|E:|W:)|\w(?:Error|Exception)\b|\bError: |\[Errno|\bE[A-Z]{3,6}\b|LIBUSB_"
)
# A program's name stands at the beginning of its line, behind a time and a host; a log's name has its number.
_TAG = re.compile(
    r"(?:^|\s)(?P<program>[a-zA-Z][\w.-]{1,30})\[\d{1,8}\]: |(?:^|\s)(?P<qemu>qemu-system-\w{1,20}|qemu-kvm|kvm): -"
)
_STAMP = (
    r"(?:\[?\d{4}-\d\d-\d\d[T ][\d:.,+Z-]{8,30}\]? |[A-Z]\w{2} [ \d]\d \d\d:\d\d:\d\d [\w.-]{1,60} "
    r"|\[?\d\d:\d\d:\d\d(?:[.,]\d{1,6})?\]? )"
)
_PROGRAM = re.compile(rf"^\W{{0,4}}{_STAMP}?(?:/[\w./-]{{0,80}}/)?(?P<program>[a-zA-Z][\w.-]{{1,30}}): ")
# Words that stand there and are no program's name
_NO_PROGRAM = re.compile(
    r"^(?:errors?|err|fatal|warn(?:ing)?|info|debug|notice|critical|failed|failure|exception|caused|traceback|message"
    r"|reason|note|hint|usage|device|port|serial|usb|tty\w*|libusb\w*|fehler|erreur|ошибка|bash|\w*(?:Error|Exception)"
    r"|[\w.]+\.(?:\w*(?:Error|Exception)))$",
    re.IGNORECASE,
)
_KERNEL = re.compile(
    r" kernel: |^\s*(?:<\d{1,3}>)?\[ *\d{1,9}\.\d{3,9}\] "
    r"|^\s*\[\w{3,4}\.? \w{3,5}\.? [ \d]\d \d\d:\d\d:\d\d \d{4}\] "  # dmesg -T
)
_NEAR = 2  # lines


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One message per line that names a failure and has to do with a port or device."""
    recent: list[tuple[int, str]] = []
    about: bool | None = None  # virtual machines
    for line in lines:
        if line.prompt is not None:
            # A command that names a node is about it
            named = node_in(line.prompt[:_READ])
            recent = [(line.number, named)] if named else []
            continue
        text = line.text[:_READ]
        if not text.strip() or _KERNEL.search(text[:200]):
            continue  # the kernel's own words are read elsewhere
        path = node_named(text)
        if path:
            recent = [*recent[-2:], (line.number, path)]
        kind = failure(text)
        if kind is None or not _ABOUT.search(text) or _OTHER.search(text) or not _reported(text, path):
            continue
        if about is None:
            about = vms(lines)
        if about and (vm_log.read_line(text) is not None or "libusb requires write access" in text):
            continue  # a VM's own words are read elsewhere, too
        near = path or next((at for number, at in reversed(recent) if line.number - number <= _NEAR), None)
        message = AppMessage(kind=kind, path=near, program=_program(text), text=line.text.strip()[:TEXT_LIMIT])
        yield Piece("app", (line.number,), message)


def _program(text: str) -> str | None:
    """The program that a line is from; None when the line does not begin with one."""
    if match := _TAG.search(text):
        return match["program"] or match["qemu"]
    match = _PROGRAM.match(text)
    return None if match is None or _NO_PROGRAM.match(match["program"]) else match["program"]


def _reported(text: str, path: str | None) -> bool:
    """Whether a program says it, or a person that it was so; not one who asks, or says what might be."""
    framed = _FRAME.search(text) is not None
    if _ADVICE.search(text) and not framed:
        return False
    return framed or path is not None or not _PROSE.search(text)
