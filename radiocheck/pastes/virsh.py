"""What virsh told of domains: their states, and what they have now against what they get at the next start.

An XML text says whose it is, and whether it is the running VM's, by the command before it
(virsh(1): `dumpxml`, `list`, `domstate`, `dominfo`, `attach-device`).  A command that was
asked for host devices and printed nothing, or the count 0, says that there are none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import takewhile
from typing import Any

from msgspec import UNSET, Struct, UnsetType, field
from msgspec.structs import replace

from radiocheck.evidence.vm import Definition, Domain, GivenVm, HostdevUsb

from . import libvirt_words, machines
from .line import Line
from .piece import Piece

Fragment = tuple[tuple[int, ...], GivenVm]

# Words behind a shell's prompt up to a pipe, and what the output goes through
_ASKED = re.compile(
    r"\bvirsh (?:-\S{1,30} (?:\S{1,20}:///?\S{0,60} )?)?(?P<verb>[a-z-]{4,20})\b"
    r"(?P<words>[^|;&]{0,300})(?P<pipe>\|.{0,300})?"
)
_CAT = re.compile(r"^(?:cat|less|more|bat) (?:-\w{1,4} )?(?P<file>\S{1,200}\.xml)\s*$")
_ROW = re.compile(r"^\s{0,6}(?P<id>\d{1,6}|-)\s{1,24}(?P<name>\S+(?: \S+){0,8}?)\s{2,80}(?P<state>[^\W\d].{0,40}?)\s*$")
_RULE = re.compile(r"^\s?-{20,200}\s*$")
_LABEL = re.compile(r"^(?P<label>Id|Name|State|Persistent|Autostart):\s{1,20}(?P<value>\S.{0,100}?)\s*$")
# tools/virsh-domain-monitor.c, virshDomainState
_STATES = frozenset({"no state", "running", "idle", "paused", "in shutdown", "shut off", "crashed", "pmsuspended"})
_OFF = frozenset({"shut off", "crashed", "no state"})
# A row of a shell's `history`, with or without its time
_HISTORY = re.compile(r"^\s{0,6}\d{1,6}\s{1,4}(?:[\d./:T-]{4,20}\s){0,2}\s?(?:sudo )?(?P<command>virsh \S.{0,400})$")
_XML_LINE = re.compile(r"^\s{0,40}</?[a-z]")
_REDIRECTION = re.compile(r"<redirdev\b[^>]{0,60}\bbus=['\"]usb['\"]")
_COUNT = re.compile(r"\|\s*grep\s+(?:-\S+\s+)*-\w*c")
_OF_HOSTDEV = re.compile(r"hostdev")
_ONLY_LIVE = {"--live", "--current"}


class _Known(Struct):
    """What was told of one domain; `live` and `next`: None as long as nothing was."""

    state: str | UnsetType = UNSET
    persistent: bool | UnsetType = UNSET
    autostart: bool | UnsetType = UNSET
    running: bool | None = None
    live: list[GivenVm] | None = None
    next: list[GivenVm] | None = None
    started: int = 0  # the line of its last `virsh start`
    bare: int = 0  # the line in which the running VM was shown without a host device
    redirections: int = 0  # <redirdev> elements of the running VM
    counted: bool = False  # the next start has host devices, and which is not told
    lines: list[int] = field(default_factory=list)

    def in_state(self, state: str, number: int) -> None:
        if state in _STATES:
            self.state, self.running = state, state not in _OFF
            self.lines.append(number)


def pieces(lines: Sequence[Line], fragments: Sequence[Fragment]) -> Iterator[Piece]:
    """XML texts and virsh's words as domains where both sides are told, and else as configurations that were given."""
    if not any("virsh" in (line.prompt or "") or _RULE.match(line.text[:200]) for line in lines):
        yield from (Piece("given", numbers, one) for numbers, one in fragments)
        return
    told = _Told(fragments)
    for start, end in _outputs(lines):
        told.output(lines[start].prompt, lines[start : end + 1], end < len(lines) and lines[end].prompt is not None)
    yield from told.pieces()


def _outputs(lines: Sequence[Line]) -> Iterator[tuple[int, int]]:
    """Ranges of lines, each from a prompt (or the beginning) to the line before the next."""
    starts = [0, *(index for index, line in enumerate(lines) if line.prompt is not None and index)]
    yield from zip(starts, [*starts[1:], len(lines)], strict=True)


class _Told:
    def __init__(self, fragments: Sequence[Fragment]) -> None:
        self.fragments = list(fragments)
        self.domains: dict[str, _Known] = {}
        self.named: dict[int, str] = {}  # fragment → domain
        self.taken: dict[int, str] = {}  # fragment → domain whose definition holds it
        self.files: dict[str, list[int]] = {}  # file → fragments
        self.attached: list[tuple[str, str, set[str], int]] = []  # domain, file, options, line
        self.current: set[int] = set()  # fragments that `dumpxml` printed of what runs, if it runs
        self.once: set[int] = set()  # fragments that an earlier run of their domain had

    def of(self, name: str) -> _Known:
        return self.domains.setdefault(name, _Known())

    def output(self, prompt: str | None, lines: Sequence[Line], complete: bool) -> None:
        """One command and what it printed; `complete`: the next command follows at once."""
        self._tables(lines)
        if prompt is None:
            return
        mine = [
            index
            for index, (numbers, _) in enumerate(self.fragments)
            if lines[0].number <= numbers[0] <= lines[-1].number
        ]
        if match := _CAT.match(prompt):
            self.files.setdefault(match["file"].rpartition("/")[2], []).extend(mine)
        for row in lines[1:] if prompt.startswith("history") else ():
            if entry := _HISTORY.match(row.text[:500]):
                self._typed(entry["command"], row.number)
        self._typed(prompt, lines[0].number, starts_only=True)
        match = _ASKED.search(prompt)
        if match is None:
            return
        words = match["words"].split()
        options = {word for word in words if word.startswith("-")}
        names = [word.strip("'\"") for word in words if not word.startswith("-")]
        printed = [line for line in lines[1:] if line.text.strip() and line.prompt is None]
        if not names:
            return
        if match["verb"] == "domstate" and printed:
            self.of(names[0]).in_state(printed[0].text.strip().partition(" (")[0], printed[0].number)
        elif match["verb"] == "dumpxml":
            self._dumped(names[0], "--inactive" in options, match["pipe"] or "", lines, printed, mine, complete)
        elif match["verb"] == "attach-device" and len(names) > 1 and printed and _went_well(printed[0].text):
            self.attached.append((names[0], names[1].rpartition("/")[2], options, lines[0].number))

    def _typed(self, command: str, number: int, starts_only: bool = False) -> None:
        """A command whose output is not there: which VM it started, or what it attached to one."""
        match = _ASKED.search(command)
        words = match["words"].split() if match else []
        names = [word.strip("'\"") for word in words if not word.startswith("-")]
        options = {word for word in words if word.startswith("-")}
        if match and names and match["verb"] == "start":
            self.of(names[0]).started = number
        elif match and len(names) > 1 and match["verb"] == "attach-device" and not starts_only:
            self.attached.append((names[0], names[1].rpartition("/")[2], options, number))

    def _tables(self, lines: Sequence[Line]) -> None:
        """The rows of `virsh list`, whatever the language of its heading; the labels of `virsh dominfo`."""
        name = None
        inside = False
        for line in lines:
            if _RULE.match(line.text[:200]):
                inside = True
            elif inside and (match := _ROW.match(line.text[:300])):
                known = self.of(match["name"])
                known.in_state(match["state"], line.number)
                if match["state"] not in _STATES:
                    known.running = match["id"] != "-"
                    known.lines.append(line.number)
            elif line.text.strip():
                inside = False
            if match := _LABEL.match(line.text[:160]):
                value = match["value"]
                if match["label"] == "Name":
                    name = value
                elif name is not None and match["label"] == "State":
                    self.of(name).in_state(value, line.number)
                elif name is not None and match["label"] == "Persistent":
                    self.of(name).persistent = value == "yes"
                elif name is not None and match["label"] == "Autostart":
                    self.of(name).autostart = value.startswith("enable")

    def _dumped(
        self, name: str, inactive: bool, pipe: str, lines: Sequence[Line], printed: Sequence[Line], mine: list[int],
        complete: bool,
    ) -> None:  # fmt: skip
        """What `dumpxml` printed: all of it, what a filter for host devices left, their number, or nothing."""
        for index in mine:
            self.named[index] = name
        self.current |= set() if inactive else set(mine)
        known = self.of(name)
        if pipe and not _OF_HOSTDEV.search(pipe):
            return
        if _COUNT.search(pipe):
            if printed and printed[0].text.strip() != "0":
                known.counted = known.counted or inactive
                return
            if not printed:
                return
            found: list[GivenVm] = []
            known.bare = 0 if inactive else lines[0].number
        else:
            found = [self.fragments[index][1] for index in mine]
            shown = list(takewhile(lambda line: _XML_LINE.match(line.text), printed))
            chosen = bool(pipe) and " -v" not in pipe and bool(shown)  # a filter that lets <hostdev> pass, and more
            known.redirections = sum(len(_REDIRECTION.findall(line.text[:300])) for line in shown)
            opened = sum(line.text.count("<hostdev") for line in printed)
            handed = sum(len(one.hostdevs) + len(one.pci) for one in found)
            if (opened != handed and not any(one.name for one in found)) or (
                not found and not (chosen and not opened) and (printed or not (complete and pipe))
            ):
                return
        known.lines += [lines[0].number, *(number for index in mine for number in self.fragments[index][0])]
        if inactive:
            known.next = found
        else:
            known.live = found
        self.taken |= dict.fromkeys(mine, name)

    def pieces(self) -> Iterator[Piece]:
        self._attach()
        self._only_one()
        for name, known in self.domains.items():
            if known.running is False and known.live is not None:
                known.next = known.live if known.next is None else known.next
            both = known.live is not None and known.next is not None
            told: dict[str, Any] = {}
            if known.running is False:
                told = {"live": None}
            elif known.live is not None and (both or not known.live):
                told = {"live": _definition(known.live, known.redirections)}
            if known.next is not None and (both or not known.next):
                told["next"] = _definition(known.next)
            if not both:
                self.taken = {index: owner for index, owner in self.taken.items() if owner != name}
            is_told = told or known.state is not UNSET or known.running is not None or known.autostart is not UNSET
            if known.lines and is_told:
                made = Domain(
                    name=name, state=known.state, persistent=known.persistent, autostart=known.autostart, **told
                )
                yield Piece("domain", tuple(sorted(set(known.lines))), made)
        for index, (numbers, one) in enumerate(self.fragments):
            if index not in self.taken:
                name_ = one.name or self.named.get(index)
                if index in self.current and name_ in self.domains and self.domains[name_].running:
                    one = replace(one, hostdevs=[_looked_up(device) for device in one.hostdevs])
                yield Piece("given", numbers, replace(one, name=name_, once=index in self.once))

    def _attach(self) -> None:
        """What `attach-device` added: the file's content, or the only piece of XML that no command printed."""
        for name, file, options, number in self.attached:
            free = [index for index in range(len(self.fragments)) if index not in self.named]
            mine = self.files.get(file) or (free if len(free) == 1 else [])
            known = self.of(name)
            self.named |= {index: name for index in mine if index not in self.named}
            gone = max(known.started, known.bare)
            if gone > number and not options & {"--config", "--persistent"}:
                known.lines.append(gone)
                self.once |= set(mine)
                continue
            known.running = True if options <= _ONLY_LIVE else known.running
            known.lines.append(number)
            if not mine or "--persistent" in options:
                continue
            added = machines.given([self.fragments[index][1] for index in mine])
            if options & {"--config"}:
                known.next = known.next or added
            else:
                known.live = known.live or added
            known.lines += [line for index in mine for line in self.fragments[index][0]]
            self.taken |= dict.fromkeys(mine, name)

    def _only_one(self) -> None:
        """The only XML without a name is that of the only domain of which virsh counted host devices."""
        free = [
            index
            for index, (_, one) in enumerate(self.fragments)
            if index not in self.named | self.taken and not one.name
        ]
        waiting = [name for name, known in self.domains.items() if known.counted and known.next is None]
        if len(waiting) == 1 and free:
            self.domains[waiting[0]].next = [self.fragments[index][1] for index in free]
            self.taken |= dict.fromkeys(free, waiting[0])
            self.domains[waiting[0]].lines += [line for index in free for line in self.fragments[index][0]]


def _went_well(text: str) -> bool:
    """Whether virsh says that it did what it was asked, in whatever language: no line with the word for "error"."""
    return re.match(rf"\W*{libvirt_words.ERROR}\s?[:：]", text, re.IGNORECASE) is None and ":" not in text


def _definition(found: Sequence[GivenVm], redirections: int = 0) -> Definition:
    return Definition(
        redirections=redirections or UNSET,
        usb=[replace(device, resolved=False) for one in found for device in one.hostdevs],  # as a capture has it
        pci=[device for one in found for device in one.pci],
        ttys=[tty for one in found for tty in one.ttys],
        usb_bus=next((one.usb_bus for one in found if one.usb_bus is not UNSET), UNSET),
    )


def _looked_up(device: HostdevUsb) -> HostdevUsb:
    """A number beside IDs, of a domain that runs, is what libvirt found for them."""
    return replace(device, resolved=device.vid is not None and device.address is not None)
