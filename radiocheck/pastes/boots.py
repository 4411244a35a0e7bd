"""Which lines of a pasted log, with seconds since boot, are of an earlier boot than the others.

The seconds of two boots do not tell which came first, and people paste in any order: most
often the older part stands first ("… I changed the cable, now:"), but a log may be turned
round, and much more often both parts are of one boot: `dmesg | tail`, then `dmesg | grep
tty`, whose lines are older.  So seconds that step back mean another boot only where
something says so:

- the log goes on without a break: it is one file, which has its boots in order;
- a time of the day in the same lines went on while the seconds stepped back;
- the later part is quoted less deep: what is quoted was written before;
- a command restarted the machine, asked for another boot (`journalctl -b -1`), or showed
  the end of the log, which lies before what was shown already;
- the words before the part say "now", "after the restart", or "before the restart".

Without such a word all is taken to be of one boot.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from msgspec import Struct, field

from .broken import left_out
from .kernel_time import YEAR, stamp, uptime, without_uptime
from .line import Line

BACK = 5.0  # seconds: messages of several processors stand out of order by less
_WALL_BACK = -7200.0  # seconds by which a time of the day must step back: summer time ends, and clocks are set
_READ = 3  # lines of prose before a part that are about it
_HEAD = 160
_SHORTEST = 12  # characters of a time of the day

_STAMPED = re.compile(r"^[^\[]{0,100}\[ *\d{1,9}\.\d{3,9}\b")
_BANNER = re.compile(r"(?:\]|kernel:) {1,3}Linux version \d")
_OF_LOG = re.compile(r"kernel:|\d\d:\d\d:\d\d|^\s*\[|\bnow (?:attached|disconnected)")
_RESTART = re.compile(r"^(?:systemctl )?(?:reboot|poweroff|halt)\b|^shutdown\b|^init [06]\b")
_ASKED = re.compile(r"journalctl\b[^|]{0,80}?(?: -\w{0,6}b ?| --boot[= ])(?P<boot>-?\d{1,3})\b")
_END = re.compile(r"\bdmesg\b[^|]{0,60}(?:\|\s{0,3}tail\b| -(?:\w*[wW]\b|-follow))")

_LATER = re.compile(
    r"re-?boot(?:ed|ing)|after (?:a |the |another |this )?(?:re-?boot|re-?start|power[ -]cycl)|restarted"
    r"|power[ -]cycled|\bnow\W{0,3}$|\bnow (?:it|all|everything|works?)\b|works? (?:fine |well )?now\b"
    r"|\bafter (?:re-?plug|unplug|chang|swap|replac|mov|that\W|this\W|the (?:change|swap|fix))"
    r"|\b(?:changed|swapped|replaced|exchanged|moved) (?:it|the|to|that|my|this)\b"
    r"|neu ?gestartet|nach (?:dem |einem )?(?:neustart|reboot|tausch|umstecken)|\bjetzt\W{0,3}$"
    r"|après (?:le |un )?(?:redémarrage|reboot|changement)|maintenant\W{0,3}$|después de (?:reiniciar|cambiar)"
    r"|\bahora\W{0,3}$|после (?:перезагрузки|замены)|теперь\W{0,3}$|dopo (?:il )?(?:riavvio|reboot)|na herstart"
    r"|po (?:restarcie|ponownym)",
    re.IGNORECASE,
)
_SOONER = re.compile(
    r"\b(?:earlier|before|previous(?:ly)?|yesterday|last (?:night|week|boot|time)|originally|used to)\b"
    r"|(?:at|on|during|from|since|of) (?:the |every )?(?:boot|start-?up)\b|boot[ -]?(?:log|messages|up)\b"
    r"|\b(?:full|whole|complete|entire) (?:dmesg|log|boot)|\b(?:vorher|früher|gestern|davor|avant|antes|hier)\b"
    r"|beim (?:boot|start|hochfahren)|раньше|до (?:этого|перезагрузки)|при загрузке|au démarrage|al arrancar",
    re.IGNORECASE,
)
_OTHER_BOOT = re.compile(
    r"before (?:the |I |my |that |this |last )?(?:re-?boot|re-?start|power)|previous boot|last boot|\byesterday\b"
    r"|last (?:night|week)\b|vor dem (?:neustart|reboot)|\bgestern\b|avant (?:le )?(?:redémarrage|reboot)"
    r"|antes de(?:l)? reinici|до перезагрузки|вчера",
    re.IGNORECASE,
)


Wall = tuple[str, float]  # a clock of kernel_time, and seconds on it


class Part(Struct):
    """Lines of one excerpt: no prompt, prose or blank line between them, and no seconds that step back by much."""

    first: Line
    last: Line
    began: float
    ended: float
    newest: float
    wall_first: Wall | None  # the time of the day of its first line, and of its last one
    wall: Wall | None
    prompts: list[str]  # since the part before
    prose: list[str]  # the last words before it
    joined: bool  # nothing stands between it and the part before
    numbers: list[int] = field(default_factory=list)
    steps: list[int] = field(default_factory=lambda: [0, 0])  # forward and back, of all parts that are joined to it


def earlier(lines: Sequence[Line]) -> dict[int, int]:
    """How many boots before the last one a line is of, by its number; lines of the last boot are not in it."""
    parts = list(_parts(lines))
    boots: list[int] = [0] * min(1, len(parts))
    tops: dict[int, float] = {}  # the newest time of each boot
    for before, part in pairwise(parts):
        tops[boots[-1]] = max(before.newest, tops.get(boots[-1], 0.0))
        boots.append(boots[-1] + _step(before, part, tops[boots[-1]]))
    last = max(boots, default=0)
    both = zip(parts, boots, strict=True)
    return {number: last - boot for part, boot in both if boot != last for number in part.numbers}


def _parts(lines: Sequence[Line]) -> Iterator[Part]:
    part: Part | None = None
    prompts: list[str] = []
    prose: list[str] = []
    blank = False
    for line in lines:
        if line.prompt is not None:
            prompts = [*prompts[-20:], line.prompt]
            continue
        at = uptime(line.text) if _STAMPED.match(line.text[:_HEAD]) else None
        if at is None:
            if not line.text.strip():
                blank = True
            elif not left_out(line.text) and not _OF_LOG.search(line.text[:_HEAD]):
                prose = [*prose[1 - _READ :], line.text[:_HEAD].strip()]
            continue
        apart = bool(prompts or prose or blank) or (part is not None and part.last.depth != line.depth)
        wall = _wall(line)
        if part is None or apart or at < part.ended - BACK or _before(wall, part.wall) or _is_banner(line):
            joined = part is not None and not apart
            steps = part.steps if part is not None and joined else [0, 0]
            if part is not None:
                if joined:
                    steps[at < part.ended] += at != part.ended
                yield part
            part = Part(line, line, at, at, at, wall, wall, prompts, prose, joined, [], steps)
            prompts, prose, blank = [], [], False
        else:
            part.steps[at < part.ended] += at != part.ended
        part.numbers.append(line.number)
        part.last, part.ended, part.newest, part.wall = line, at, max(part.newest, at), wall
    if part is not None:
        yield part


def _step(before: Part, part: Part, top: float) -> int:
    """From one part to the next: 1 to a later boot, -1 to an earlier one, 0 when nothing says that it is another.

    `top`: the newest time that was seen of the boot that the part before is of.
    """
    back = part.began < before.newest - BACK
    asked = [_boot(prompts) for prompts in (before.prompts, part.prompts)]
    if any(asked) and part.prompts:
        return asked[1] - asked[0]
    if before.wall is not None and part.wall_first is not None and before.wall[0] == part.wall_first[0]:
        passed = _passed(before.wall, part.wall_first)
        return 1 if back and passed >= 0 else -1 if not back and passed < _WALL_BACK else 0
    if part.joined:
        turned = part.steps[1] >= part.steps[0]  # the newest line first
        return int((back or _is_banner(part.first)) and not turned)
    if part.first.depth != before.last.depth:
        if part.first.depth < before.last.depth:
            return int(back)
        return -int(part.began > before.newest + BACK)
    if back and any(_RESTART.search(prompt) for prompt in part.prompts):
        return 1
    if part.prompts and _END.search(part.prompts[-1]) and part.newest < top - BACK:
        return 1
    words = " ".join(part.prose)
    if _OTHER_BOOT.search(words):
        return -1
    return int(back and bool(_LATER.search(words)) and not _SOONER.search(words))


def _boot(prompts: Sequence[str]) -> int:
    """The boot that `journalctl -b` was asked for: 0, or -1 and less for earlier ones."""
    match = _ASKED.search(prompts[-1][:400]) if prompts else None
    return min(0, int(match["boot"])) if match else 0


def _wall(line: Line) -> Wall | None:
    """The time of the day beside the seconds since boot, as syslog writes both."""
    head = without_uptime(line.text)
    return stamp(head) if len(head) >= _SHORTEST else None


def _before(wall: Wall | None, last: Wall | None) -> bool:
    return wall is not None and last is not None and wall[0] == last[0] and _passed(last, wall) < _WALL_BACK


def _passed(one: Wall, other: Wall) -> float:
    """Seconds from one time of the day to another; December, then January, is no step back."""
    passed = other[1] - one[1]
    return passed + YEAR if one[0] == "day" and passed < -YEAR / 2 else passed


def _is_banner(line: Line) -> bool:
    return _BANNER.search(line.text[:_HEAD]) is not None
