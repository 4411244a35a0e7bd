"""Refusals that a later line of the same paste ends: the program has its device since, or its account its rights.

People post the error of yesterday above the output of today, answer below a quotation, and
copy whole logs, in which a daemon fails at the start and comes up when it is started anew.
A refusal counts for what it is now only when nothing after it shows otherwise.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from itertools import accumulate
from typing import NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from radiocheck.evidence.absent import known
from radiocheck.evidence.serial import AppMessage, Node

from .failures import failure
from .families import family, speaker
from .line import Line
from .piece import Piece

Order = tuple[int, int]  # a line's depth of quotation, negative, and its number

REFUSALS = frozenset({"denied", "not-permitted", "busy", "missing"})
_NEAR = 40  # lines of a command's output that are looked at
# What lets a program in for once and leaves the cause where it was.
_WORKAROUND = re.compile(
    r"\b(?:chmod|chown|setfacl|setenforce|aa-(?:complain|disable|teardown))\b|--privileged\b|\bsudo (?:-[Eis]\b|su\b)"
    r"|\b(?:as|als|en|como|come|jako|som|от) root\b|\b(?:with|mit|avec|con|com|med|met|z|с) sudo\b",
    re.IGNORECASE,
)
# It comes back: a success in between ends nothing.
_RECURS = re.compile(
    r"\b(?:every|each) (?:single )?(?:time|boot|reboot|start|restart|replug|morning|day|night|week)\b"
    r"|\b(?:sometimes|intermittent(?:ly)?|randomly|on and off|keeps (?:coming|happening|failing))\b"
    r"|\b(?:jede[sn]? (?:Mal|Start|Neustart|Morgen|Tag)|jedes Mal|nach jedem|manchmal|immer wieder)\b"
    r"|\b(?:chaque (?:fois|démarrage|redémarrage)|parfois|cada (?:vez|arranque|reinicio)|a veces|ogni volta|a volte"
    r"|za każdym razem|czasem|czasami|каждый раз|иногда|elke keer|soms|varje gång|ibland|toda vez|às vezes)\b",
    re.IGNORECASE,
)
_SAME_AGAIN = re.compile(
    r"\b(?:same|still|again|selbe|gleiche|immer noch|wieder|même|encore|mismo|todavía|stesso|ancora|тоже|то же|опять"
    r"|снова|wciąż|nadal|znowu|zelfde|nog steeds|samma|fortfarande|mesmo|ainda)\b"
    r"|\b(?:errors?|fail\w{0,4}|fatal|traceback|exception|denied|abort\w{0,3})\b|fehler|erreur|ошибк|błąd|errore",
    re.IGNORECASE,
)
_NODE = re.compile(r"/dev/[\w./:+-]{3,200}")
# They show what others said, at other times.
_SHOWS = frozenset(
    "journalctl dmesg tail less more grep zgrep systemctl docker podman kubectl logread watch virsh ls id".split()
)
_RUNS = frozenset("python python2 python3 node java ruby perl bash sh mono dotnet".split())
_USER = re.compile(r"^\W{0,3}(?P<user>[\w.-]{1,40}@[\w.-]{1,64})")  # and on which machine
_ROOT = re.compile(r"^\W{0,3}root@|^\W{0,3}#\s|\][#]\s|[$#%] ?(?:sudo|doas|su -c)\b|^[^$#%]{0,100}# ")


class _Command(Struct, frozen=True):
    """A command at a prompt: what is run on which node, by whom, as root or not, and the place of its line."""

    key: tuple[str, ...]
    user: str
    root: bool
    at: int  # position among the rows


class _Link(NamedTuple):
    """What ties a success to a refusal: a word, whether root had it, and the node that its command names."""

    key: str  # family, program, path
    word: str
    root: bool
    on: str | None


def settled(pieces: Sequence[Piece], rows: Sequence[Line]) -> list[Piece]:
    """The pieces, with `over` set in the messages that a later one ends."""
    refused = [one for one in pieces if one.kind == "app" and one.value.kind in REFUSALS]
    if not refused or any(_RECURS.search(row.text[:500]) for row in rows):
        return list(pieces)
    paste = _Paste(rows)
    worked = _worked(pieces, paste)
    granted = _granted(pieces, paste)
    newest = _newest(refused, paste)
    ended: set[int] = set()
    for one in refused:
        mine = paste.order(one.lines[0])
        ends = [*_successes(one, worked, paste), *paste.run_again(one.lines[0])]
        ends += granted if _by_the_account(one, paste) else []
        later = [end for end in ends if end > mine]
        if later and min(later) > newest[one.value.kind] and not paste.is_forced(mine, min(later)):
            ended.add(id(one))
    return [Piece(one.kind, one.lines, replace(one.value, over=True)) if id(one) in ended else one for one in pieces]


class _Paste:
    """The rows in their order in time, and the commands among them."""

    def __init__(self, rows: Sequence[Line]) -> None:
        self.rows = rows
        self.place = {row.number: index for index, row in reversed(list(enumerate(rows)))}
        self.commands = [found for index, row in enumerate(rows) if (found := _command(row, index))]
        self.starts = [one.at for one in self.commands]
        self.forced = list(accumulate((_WORKAROUND.search(row.text[:500]) is not None for row in rows), initial=0))
        self.fine: dict[tuple[tuple[str, ...], str, bool], list[Order]] = {}
        for one in self.commands:
            shows = one.key[0] in _SHOWS or one.key in (("cat",), ("head",))
            if not shows and self._is_fine(one):
                self.fine.setdefault((one.key, one.user, one.root), []).append(self.order(rows[one.at].number))
        for runs in self.fine.values():
            runs.sort()

    def order(self, number: int) -> Order:
        """What is quoted is older than what stands around it, and else the line above is older."""
        return -self.rows[self.place[number]].depth, number

    def is_forced(self, since: Order, until: Order) -> bool:
        """Whether something was tried in between that lets a program in for once."""
        first, last = sorted((self.place[since[1]], self.place[until[1]]))
        return self.forced[last] > self.forced[first + 1]

    def command_of(self, number: int) -> _Command | None:
        """The command in whose output a line stands."""
        place = self.place[number]
        before = bisect_left(self.starts, place)
        found = self.commands[before - 1] if before else None
        return found if found is not None and place - found.at <= _NEAR else None

    def run_again(self, number: int) -> list[Order]:
        """The next run of the same command, by the same right, that tells of no error."""
        mine = self.command_of(number)
        return _next(self.fine.get((mine.key, mine.user, mine.root), []), self.order(number)) if mine else []

    def _is_fine(self, command: _Command) -> bool:
        printed = False
        for row in self.rows[command.at + 1 : command.at + 1 + _NEAR]:
            if row.prompt is not None:
                break
            text = row.text[:500]
            if _SAME_AGAIN.search(text) or failure(text) is not None:
                return False
            printed = printed or bool(text.strip())
        return printed


def _next(found: Sequence[Order], after: Order) -> list[Order]:
    """The first of a sorted list that is later."""
    return list(found[(at := bisect_right(found, after)) : at + 1])


def _command(row: Line, index: int) -> _Command | None:
    words = row.prompt.split()[:40] if row.prompt is not None else []
    if not words:
        return None
    name = words[0].rpartition("/")[2]
    key = [name]
    if name in _RUNS:
        key += [word for word in words[1:] if not word.startswith("-")][:1]
    key += [match[0] for word in words[1:] if (match := _NODE.search(word))]
    user = _USER.match(row.text.strip()[:100])
    return _Command(tuple(key), user["user"] if user else "", _ROOT.search(row.text.strip()[:200]) is not None, index)


def _worked(pieces: Sequence[Piece], paste: _Paste) -> dict[_Link, list[Order]]:
    """When programs said that they have their device, by what links them with a refusal.

    A daemon has the same rights whoever reads its log.
    """
    found: dict[_Link, list[Order]] = {}
    for one in pieces:
        if one.kind != "worked":
            continue
        by = paste.command_of(one.lines[0])
        logged = speaker(paste.rows[paste.place[one.lines[0]]].text) is not None or one.value.get("family") == "ups"
        root = not logged and by is not None and by.root
        on = next((word for word in by.key if word.startswith("/dev/")), None) if by is not None else None
        for key in ("family", "program", "path"):
            if isinstance(word := one.value.get(key), str):
                found.setdefault(_Link(key, word, root, on), []).append(paste.order(one.lines[0]))
    return {key: sorted(several) for key, several in found.items()}


def _successes(refused: Piece, worked: Mapping[_Link, Sequence[Order]], paste: _Paste) -> list[Order]:
    """The next lines in which the same program, one of its family, or any about the same node has its device."""
    message: AppMessage = refused.value
    command = paste.command_of(refused.lines[0])
    words = {
        ("family", family(message.program or "") or family(message.text)),
        ("program", message.program),
        ("program", speaker(message.text)),
        ("path", message.path),
    }
    after = paste.order(refused.lines[0])
    ends: list[Order] = []
    for link, found in worked.items():
        # What only root can do ends no refusal of others, and what works with another port none of this one.
        by_right = not link.root or (command is not None and command.root)
        if (link.key, link.word) in words and by_right and (None in (link.on, message.path) or link.on == message.path):
            ends += _next(found, after)
    return ends


def _newest(refused: Sequence[Piece], paste: _Paste) -> dict[str, Order]:
    """By kind, when the last refusal came whose text was not there before; the same text may only be pasted twice."""
    first: dict[tuple[str, str], Order] = {}
    for one in refused:
        key, at = (one.value.kind, one.value.text), paste.order(one.lines[0])
        first[key] = min(first.get(key, at), at)
    return {kind: max(at for (other, _), at in first.items() if other == kind) for kind, _ in first}


def _by_the_account(refused: Piece, paste: _Paste) -> bool:
    """Whether the person's own shell was refused, and no daemon."""
    message: AppMessage = refused.value
    command = paste.command_of(refused.lines[0])
    return message.kind == "denied" and speaker(message.text) is None and command is not None and not command.root


def _granted(pieces: Sequence[Piece], paste: _Paste) -> list[Order]:
    """The lines since which the account of the shell fits the node, which it did not before."""
    accounts = [one for one in pieces if _is_session(one, paste)]
    nodes = [(one, found) for one in pieces if (found := _node(one)) is not None]
    if not accounts or not nodes:
        return []
    account, node = accounts[-1], nodes[-1][1]
    if not _fits(account, node):
        return []
    by_account = _turn([(one, _fits(one, node)) for one in accounts])
    by_node = _turn([(one, _fits(account, found)) for one, found in nodes if found.path == node.path])
    return [paste.order(one.lines[0]) for one in (*by_account, *by_node)]


def _turn(several: Sequence[tuple[Piece, bool]]) -> list[Piece]:
    """The first from which on all fit, when one before does not."""
    poor = [place for place, (_, fits) in enumerate(several) if not fits]
    return [several[poor[-1] + 1][0]] if poor and poor[-1] + 1 < len(several) else []


def _is_session(one: Piece, paste: _Paste) -> bool:
    """What `id` without a name printed: groups of the running session, not of the account database."""
    if one.kind != "user" or not one.value.get("uid") or not one.value.get("group_names"):
        return False
    place = paste.place[one.lines[0]]
    asked = paste.rows[place - 1].prompt if place else None
    return asked is None or asked.split() == ["id"]


def _node(one: Piece) -> Node | None:
    found = one.value.get("node") if one.kind == "tty" else one.value if one.kind == "usb_node" else None
    return found if isinstance(found, Node) and known(found.mode) else None


def _fits(account: Piece, node: Node) -> bool:
    """Whether reading and writing is given to the account, by names."""
    if not known(node.mode):
        return False
    others = node.mode & 0o006 == 0o006
    group = node.mode & 0o060 == 0o060 and node.group in account.value["group_names"]
    return others or group or (node.mode & 0o600 == 0o600 and node.owner == account.value.get("name"))
