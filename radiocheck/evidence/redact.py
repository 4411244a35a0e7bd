"""Evidence without what is private: stable stand-ins for names and numbers that point at people.

Redaction comes before anything is judged or shown.  The same word becomes the same stand-in
everywhere, so "the same adapter" still reads as the same, and two adapters that share a
serial number still do.  Stand-ins are numbered in the order of the words they stand for,
so that lists sorted by name keep their order.

Replaced are: serial numbers; names of accounts, VMs, hosts and Wi-Fi networks; UUIDs and
other long identifiers; MAC, IP and e-mail addresses; folders below a home.  Kept are:
makers and products, IDs, ports, drivers, times, sizes, versions, and names of system
accounts and groups, which every machine has.  A name that is as short as `1` or as common
as `usb` is replaced only where it stands as a name: it tells nothing alone, and the same
letters mean something elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from msgspec import Struct

from .ordinary import PORT_PATH, STRUCTURE, is_ordinary
from .private import FORMS, HOME, KINDS, PATHS, VERSIONS, field_kind, is_address, is_kept, key_kind, told
from .record import Evidence

# Words beside which even an ordinary word is somebody's name.
_BESIDE = (
    r"(?i:serial(?:number| number)?|iserial {1,30}\d{1,3}|user|account|owner|group|member|login|domain|guest|vm|"
    r"name|host|hostname|e?ssid|log in as|process of|qemu of)"
)
_LONG = 8  # letters; a word that long is found inside other words too
_START = r"(?:(?<![^\W_])|(?<=\\x[0-9A-Fa-f]{2}))"
_END = r"(?![^\W_])"


class Redacted(Struct, frozen=True):
    """Evidence without what is private, and how many different ones of each kind were replaced."""

    records: tuple[Evidence, ...]
    counts: dict[str, int]
    stand_in: Callable[[str], str]  # what has become of a word that a person may name


def redact(*records: Evidence, hosts: tuple[str, ...] = ()) -> Redacted:
    """The records with stand-ins, the same ones in all of them; `hosts` are names of the machine itself."""
    words: dict[str, str] = {}
    for host in hosts:
        for name in (host, host.partition(".")[0]):
            _add(words, "host", name)
    ports: set[str] = set()
    for record in records:
        for kind, word in _private(record, ports):
            _add(words, kind, word)
    replacer = _Replacer(words, frozenset(ports))
    for record in records:
        _walked(record, replacer.find)
    replacer.number()
    redacted = tuple(_walked(record, replacer.replace) for record in records)
    return Redacted(redacted, replacer.counts(), replacer.stand_in)


def _add(words: dict[str, str], kind: str, word: str) -> None:
    if not is_kept(kind, word) and (word not in words or KINDS.index(kind) < KINDS.index(words[word])):
        words[word] = kind


def _private(value: Any, ports: set[str]) -> Iterator[tuple[str, str]]:
    """The words in fields made for private things, and those that texts name as such; `ports` collects places."""
    if isinstance(value, Struct):
        for field in value.__struct_fields__:
            item = getattr(value, field)
            kind = field_kind(value, field)
            if kind is not None and isinstance(item, str):
                yield kind, item
            elif isinstance(item, dict):
                for key, inner in item.items():
                    kind = key_kind(value, field, key)
                    yield from [(kind, inner)] if kind is not None else told(inner)
            else:
                if field in ("path", "port") and isinstance(item, str) and PORT_PATH.fullmatch(item):
                    ports.add(item)
                yield from _private(item, ports)
    elif isinstance(value, list):
        for item in value:
            yield from _private(item, ports)
    elif isinstance(value, str):
        yield from told(value)


Act = Callable[[str, str | None, bool, bool], str]


def _walked(value: Any, act: Act) -> Any:
    """A copy in which every text went through `act`, with its kind, and whether it is a path or a version."""
    if isinstance(value, Struct):
        kind, fields = type(value).__name__, {}
        for field in value.__struct_fields__:
            item = getattr(value, field)
            if isinstance(item, str):
                place = (kind, field)
                item = act(item, field_kind(value, field), place in PATHS, place in VERSIONS)
            elif isinstance(item, dict):
                item = {
                    act(key, None, False, False): act(inner, key_kind(value, field, key), False, False)
                    for key, inner in item.items()
                }
            else:
                item = _walked(item, act)
            fields[field] = item
        return type(value)(**fields)
    if isinstance(value, list):
        return [_walked(item, act) for item in value]
    return act(value, None, False, False) if isinstance(value, str) else value


class _Replacer:
    """Finds private words in texts, first to learn them all, then to replace them."""

    def __init__(self, words: Mapping[str, str], ports: frozenset[str]) -> None:
        self.words = dict(words)
        self.ports = ports
        self.stand_ins: dict[str, str] = {}
        self.used: set[str] = set()
        self.by_form = {form: word for word in words for form in _forms(word)} | {word: word for word in words}
        self.folded = {form.casefold(): word for form, word in reversed(self.by_form.items())}
        self.pattern = _pattern(self.by_form, self.words)

    def find(self, text: str, kind: str | None, path: bool, version: bool) -> str:
        """Learn the words that only their form tells."""
        if kind is None:
            self._each(text, path, version, self._learn)
        return text

    def number(self) -> None:
        """Give every word its stand-in."""
        for kind in KINDS:
            mine = sorted(word for word, its in self.words.items() if its == kind)
            wide = len(str(len(mine)))
            self.stand_ins |= {word: f"{kind}-{place:0{wide}}" for place, word in enumerate(mine, 1)}

    def counts(self) -> dict[str, int]:
        """How many words of each kind were replaced."""
        kinds = [self.words[word] for word in self.used]
        return {kind: kinds.count(kind) for kind in KINDS if kind in kinds}

    def replace(self, text: str, kind: str | None, path: bool, version: bool) -> str:
        """A text with stand-ins."""
        if kind is None:
            return self._each(text, path, version, lambda _, word: self._put(word))
        return self._put(text) if text in self.stand_ins else text

    def stand_in(self, word: str) -> str:
        """What has become of a word by itself."""
        return self.stand_ins.get(word) or self.replace(word, None, False, False)

    def _put(self, word: str) -> str:
        self.used.add(word)
        return self.stand_ins[word]

    def _learn(self, kind: str, word: str) -> str:
        self.words.setdefault(word, kind)
        return word

    def _each(self, text: str, path: bool, version: bool, act: Callable[[str, str], str]) -> str:
        """The text with `act` done to each private word in it."""
        if STRUCTURE.fullmatch(text) or text in self.ports:
            return text
        if path and (match := HOME.match(text)):
            return self._home(match, text[match.end() :], act)

        def one(match: re.Match[str]) -> str:
            kind = (match.lastgroup or "").rstrip("0123456789")
            found = match[match.lastgroup or 0]
            if kind == "home":
                inner = HOME.match(found)
                return self._home(inner, "", act) if inner is not None else found
            word = self.by_form.get(found) or self.folded.get(found.casefold())
            if word is None:
                if kind == "address" and not is_address(found, self.ports, version and match.start() == 0):
                    return found
                word = _same(kind, found)
            start, end = match.span(match.lastgroup or 0)
            return text[match.start() : start] + act(self.words.get(word, kind), word) + text[end : match.end()]

        return self.pattern.sub(one, text)

    def _home(self, match: re.Match[str], rest: str, act: Callable[[str, str], str]) -> str:
        """A path of somebody's own; `rest` is what belongs to it beyond the match."""
        if match["root"]:
            return match["root"] + act("path", match["deep"] + rest)
        who, below = match["who"], (match["below"] or "") + rest
        named = act("user", who) if who in self.words else who
        return match["top"] + named + (below[0] + act("path", below[1:]) if below[1:] else below)


def _pattern(forms: Mapping[str, str], kinds: Mapping[str, str]) -> re.Pattern[str]:
    """One expression for all: what was replaced is never looked at again."""
    parts = [f"(?P<home>{_unnamed(HOME.pattern)})"]
    parts += [f"(?P<{kind}{number}>{form})" for number, (kind, form) in enumerate(FORMS)]
    rare = sorted((form for form in forms if not is_ordinary(form)), key=len, reverse=True)
    common = sorted((form for form in forms if is_ordinary(form)), key=len, reverse=True)
    if rare:
        glued = [form for form in rare if len(form) >= _LONG and re.search(r"\d", form) and not form.isdecimal()]
        either = [f"{_START}(?:{_any(rare)}){_END}"] + ([_any(glued)] if glued else [])
        parts.append(f"(?P<known>(?i:{'|'.join(either)}))")
    if common:
        # Named, quoted, in the brackets of a gap, or beside the @ of an account
        parts.append(rf"(?:\b{_BESIDE}[\s=:]{{0,3}}['\"(\[]?|(?<=['\"“\[@]))(?P<beside>{_any(common)}){_END}")
    if serials := [form for form in common if kinds[forms[form]] == "serial"]:
        parts.append(rf"(?<=_)(?P<linked>{_any(serials)})(?=-if[0-9a-f]{{2}}\b)")
    return re.compile("|".join(parts))


def _unnamed(pattern: str) -> str:
    return re.sub(r"\(\?P<\w+>", "(?:", pattern)


def _any(words: list[str]) -> str:
    return "|".join(map(re.escape, words))


def _same(kind: str, word: str) -> str:
    """One spelling of what may be spelled in several ways."""
    if kind == "mac":
        return word.casefold().replace("-", ":")
    return word.casefold() if kind in ("uuid", "mail", "address", "id") else word


def _forms(word: str) -> list[str]:
    """A word as it is, without blanks around it, and as udev (src/shared/device-nodes.c) and systemd write it."""
    plain = word.strip()
    linked = re.sub(r"[^A-Za-z0-9#+\-.:=@_]", "_", re.sub(r"\s+", "_", plain))
    escaped = "".join(
        letter
        if re.match(r"[A-Za-z0-9#+\-.:=@_/]", letter)
        else "".join(f"\\x{byte:02x}" for byte in letter.encode("utf-8", "replace"))
        for letter in word
    )
    unit = plain.replace("-", "\\x2d")
    forms = dict.fromkeys((word, plain, linked, escaped, unit))
    return [form for form in forms if re.search(r"[^\W_]", form)]
