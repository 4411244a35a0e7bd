"""QEMU command lines, from `ps` or bare, and libvirt's XML, whole or as a fragment."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from msgspec.structs import replace

from radiocheck.evidence.vm import GivenVm, HostdevUsb, QemuProcess
from radiocheck.pastes import virsh
from radiocheck.pastes.broken import balanced, is_cut
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece
from radiocheck.sources import given, qemu_args

TITLE = "QEMU and libvirt"

_QEMU = re.compile(r"(?:^|[\s/])(?:qemu-system-[\w.]{1,20}|qemu-kvm|kvm)\s+-")
# ps aux, ps -ef, ps -eo pid,args, pgrep -a, and the list of processes in systemctl status
_PS = re.compile(
    r"^[\s│├└─|`-]*(?:[a-z_][\w.+-]{0,31}\s+)?(?P<pid>\d{1,8})\s+(?:[\d.?:]{1,12}\s|(?:[a-z_][\w.+-]{0,31}\s+)?(?:/|qemu|kvm))"
)
_TAGS = ("domain", "devices", "hostdev", "domstatus", "serial", "console", "parallel")
_OPEN = re.compile(
    r"<(?P<tag>domain|devices|hostdev|domstatus|serial|console|parallel)\b(?![^>]{0,400}/>)", re.IGNORECASE
)
_END = {tag: re.compile(rf"</{tag}\s{{0,9}}>", re.IGNORECASE) for tag in _TAGS}
_HOSTDEV = re.compile(r"<hostdev\b.{0,3000}?</hostdev", re.IGNORECASE | re.DOTALL)
_OF_USB = re.compile(r"^<hostdev\b[^>]{0,300}\btype=['\"]usb['\"]", re.IGNORECASE)
_ALIAS = "<alias name="
_LONGEST = 2_000  # lines of one XML text
_FEW = 12  # lines of a <hostdev> up to the end of its <source>
_ORIGIN = "paste"
_ARGUMENT = re.compile(r"^\S{1,2000}$")
_OPTION = re.compile(r"^-{1,2}[a-z][\w-]{0,30}$")
_PROGRAM = re.compile(r"^(?:\S{0,200}/)?(?:qemu-system-[\w.]{1,20}|qemu-kvm|kvm)$")
_SAYS = re.compile(r"^\W{0,3}(?:\S{1,40} ){0,5}\S{0,60}(?:qemu|kvm)[\w.-]{0,30}(?:\[\d{1,8}\])?: ")
_ROW = re.compile(r"^\s*\d{1,7}\s+[\w/\[-]")  # a process and its command, whatever the columns between
_ONE_DEVICE = re.compile(r"(?<![\w-])-device (?P<words>(?:usb-host|vfio-pci),[\w=,.:-]{5,200}\w)")
_ADVISED = re.compile(r"\b(?:try|should|could|would|use|instead|add|e\.g|for example|maybe)\b|\?\s*$", re.IGNORECASE)
_NARROWEST = 76  # characters of a terminal's line
_OF_COMMAND = re.compile(r"[=,\"{]| -[a-z]")


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Processes that run (a line of `ps`), and configurations that somebody pasted."""
    found = [*_command_lines(lines), *_stacks(lines), *virsh.pieces(lines, list(_xml(lines)))]
    yield from found or _in_prose(lines)


def _in_prose(lines: Sequence[Line]) -> Iterator[Piece]:
    """The one `-device` option that a person names as theirs, beside words of QEMU's; nothing of what others advise."""
    named: dict[str, int] = {}
    for line in lines:
        if (
            "-device " in line.text
            and not _SAYS.match(line.text.strip()[:200])
            and not _ADVISED.search(line.text[:1000])
        ):
            named |= dict.fromkeys(_ONE_DEVICE.findall(line.text[:1000]), line.number)
    if len(named) != 1 or not any(_SAYS.match(line.text.strip()[:200]) for line in lines):
        return
    (words, number), *_ = named.items()
    told = qemu_args.parse(["qemu", "-device", words])
    if told.usb or told.pci:
        yield Piece(
            "given", (number,), GivenVm(name=None, manager="qemu", origin=_ORIGIN, arguments=told.usb, pci=told.pci)
        )


def _command_lines(lines: Sequence[Line]) -> Iterator[Piece]:
    taken = 0
    for index, line in enumerate(lines):
        if line.number <= taken or "grep" in line.text[:200]:
            continue
        first = _QEMU.search(line.text)
        if first is None:
            continue
        text, numbers = _continued(lines, index)
        taken = numbers[-1]
        ps = _PS.match(line.text)
        words = text[first.start() :].strip()
        cut = is_cut(words) or not balanced(words)
        if cut:
            words = re.sub(r"(?:\S*(?:>|\.{3,10}))$", "", words) if is_cut(words) else words
        try:
            found = given.vm_args(words.encode(), _ORIGIN)
        except ValueError:
            continue
        for one in found:
            if ps is not None:
                yield Piece("qemu", numbers, _process(int(ps["pid"]), one, words, cut))
            elif not cut:
                yield Piece("given", numbers, one)


def _stacks(lines: Sequence[Line]) -> Iterator[Piece]:
    """Command lines with one argument on each line: `tr '\\0' '\\n'`, `ps … | tr ' ' '\\n'`, `xargs -n1`."""
    run: list[Line] = []
    asked = ""
    for line in [*lines, Line(0, "", "")]:
        text = line.text.strip()
        if line.prompt is None and _ARGUMENT.match(text):
            run.append(line)
            continue
        words = [one.text.strip() for one in run]
        numbers = tuple(one.number for one in run)
        if any(word == "-device" and not value.startswith("-") for word, value in pairwise(words)):
            start = next((place for place, word in enumerate(words) if _OPTION.match(word) or _PROGRAM.match(word)), 0)
            yield from _stack([word for word in words[start:] if word != "--"], numbers[start:], asked)
        run = []
        asked = line.prompt if line.prompt is not None else asked


def _stack(words: list[str], numbers: tuple[int, ...], asked: str) -> Iterator[Piece]:
    try:
        found = given.vm_args("\0".join(words).encode(), _ORIGIN)
    except ValueError:
        return
    process = re.search(r"/proc/(\d{1,8})/cmdline", asked)
    for one in found:
        if process and _PROGRAM.match(words[0]):
            yield Piece("qemu", numbers, _process(int(process[1]), one, " ".join(words), cut=False))
        else:
            yield Piece("given", numbers, one)


def _process(pid: int, one: GivenVm, text: str, cut: bool) -> QemuProcess:
    """A running QEMU; where its command line was cut off, what it asks for is not known."""
    told = qemu_args.parse(text.split())
    if cut:
        return QemuProcess(pid=pid, name=one.name, libvirt=told.libvirt) if one.name else QemuProcess(pid=pid)
    return QemuProcess(
        pid=pid,
        name=one.name,
        uuid=told.uuid,
        usb=list(one.arguments),
        pci=list(one.pci),
        ttys=list(one.ttys),
        usb_bus=one.usb_bus,
        libvirt=told.libvirt,
    )


def _continued(lines: Sequence[Line], index: int) -> tuple[str, tuple[int, ...]]:
    """A command over several lines: after a backslash, or where a terminal wrapped it."""
    text, numbers = lines[index].text, [lines[index].number]
    width = len(text)
    before = width  # of the line that may go on
    for line in lines[index + 1 : index + 200]:
        stripped = line.text.strip()
        if text.rstrip().endswith("\\"):
            text = text.rstrip()[:-1] + " " + stripped
        elif line.prompt is not None or not stripped or _PS.match(line.text) or _SAYS.match(line.text[:200]):
            break
        elif stripped.startswith("-") and not stripped.startswith("--") and len(stripped) > 2:
            text += " " + stripped
        elif _ROW.match(line.text):
            break
        elif before >= _NARROWEST and before >= width - 1 and _OF_COMMAND.search(stripped):
            text += line.text  # every line but the last is as wide as the terminal
        else:
            break
        before = len(line.text)
        numbers.append(line.number)
    return text, tuple(numbers)


def _xml(lines: Sequence[Line]) -> Iterator[virsh.Fragment]:
    """Each XML text that ends; what was cut off might lack what matters."""
    taken = 0
    ends = _ends(lines)
    for index, line in enumerate(lines):
        if line.number <= taken or line.prompt is not None or (match := _OPEN.search(line.text)) is None:
            continue
        last = ends[match["tag"].lower()][index]
        open_ = _unclosed(lines, index) if match["tag"].lower() == "hostdev" else None
        if open_ is not None:
            last = open_
        elif last is None or last - index > _LONGEST:
            continue
        part = [one.text for one in lines[index : last + 1]]
        part[0] = part[0][match.start() :]
        if open_ is not None:
            part.append("</hostdev>")
        end = part[-1].lower().rindex(f"</{match['tag'].lower()}")
        part[-1] = part[-1][: part[-1].index(">", end) + 1]
        numbers = tuple(one.number for one in lines[index : last + 1])
        taken = numbers[-1]
        try:
            vms = given.vm_xml("\n".join(part).encode(), _ORIGIN)
        except ValueError:
            continue
        for one in vms:
            yield numbers, replace(one, origin=_ORIGIN, hostdevs=_resolved(one.hostdevs, "\n".join(part)))


def _resolved(hostdevs: Sequence[HostdevUsb], text: str) -> list[HostdevUsb]:
    """Those with an alias are of a running VM: libvirt writes it for no other (src/conf/domain_conf.c).

    Their bus and device are then what it found for the IDs at the start.
    """
    usb = [each for each in _HOSTDEV.findall(text) if _OF_USB.search(each)]
    if len(usb) != len(hostdevs):
        return list(hostdevs)
    return [
        replace(one, resolved=bool(one.vid and one.address is not None and _ALIAS in each))
        for one, each in zip(hostdevs, usb, strict=True)
    ]


def _unclosed(lines: Sequence[Line], index: int) -> int | None:
    """The line of `</source>`, or of the alias behind it, of a USB <hostdev> whose end `grep -A4` left out; else null.

    A number beside the IDs may be libvirt's own; that it is, only the alias tells.
    """
    number = False
    source: int | None = None
    for place in range(index, min(index + _FEW, len(lines))):
        text = lines[place].text
        if lines[place].prompt is not None or (place > index and _OPEN.search(text)):
            break
        if "</hostdev" in text:
            return None  # it ends
        number = number or "<address" in text
        if _ALIAS in text and source is not None:
            return place if "usb" in lines[index].text else None
        if source is None and "</source>" in text:
            source = place
    return source if "usb" in lines[index].text and not number else None


def _ends(lines: Sequence[Line]) -> dict[str, list[int | None]]:
    """For each tag and line, the line at or after it that closes the tag."""
    ends: dict[str, list[int | None]] = {}
    for tag, pattern in _END.items():
        nearest: list[int | None] = [None] * len(lines)
        last = None
        for index in range(len(lines) - 1, -1, -1):
            if "</" in lines[index].text and pattern.search(lines[index].text):
                last = index
            nearest[index] = last
        ends[tag] = nearest
    return ends
