"""`ls -l` of serial nodes, of /dev/serial, of /dev/bus/usb and of sysfs (GNU coreutils; busybox).

A row is taken by its own form: mode, owner, group, then a device number or a size, then a
name, with or without an arrow.  Where a row names no folder, the command or the heading
`/dev/serial/by-id:` before it says which.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from radiocheck.evidence.serial import Link, Node
from radiocheck.pastes.broken import is_cut, left_out
from radiocheck.pastes.line import Line
from radiocheck.pastes.mentions import in_container, into_container
from radiocheck.pastes.piece import Piece
from radiocheck.pastes.strerror import words

TITLE = "ls -l"

# -i puts a number before, -s another one, -Z a context behind the group; -n prints numbers for names.
_ROW = re.compile(
    r"(?:^|(?<=[\s>|]))(?P<type>[cl])(?P<mode>[r-][w-][xsS-][r-][w-][xsS-][r-][w-][xtT-])(?P<acl>[+.@]?)"
    r"(?:\s{1,8}\d{1,3})?\s{1,16}(?P<owner>[\w.+-]{1,32})\s{1,16}(?P<group>[\w.+@-]{1,32})"
    r"(?:\s{1,4}(?:\w{1,30}:\w{1,30}:\w{1,30}(?::\S{1,40})?|\?))?"
    r"\s{1,16}(?:(?P<major>\d{1,4}),\s{0,8}(?P<minor>\d{1,7})|\d{1,9})\s{1,8}(?P<rest>\S.{0,900})$"
)
_TTY = re.compile(r"^(?:/dev/)?(?P<name>tty(?:USB|ACM)\d{1,4})$")
_USB = re.compile(r"^/dev/bus/usb/(?P<bus>\d{3})/(?P<number>\d{3})$")
_FOLDER = re.compile(r"^['\"]?(?P<folder>/(?:dev|sys)(?:/[\w.:-]{1,80}){0,12}?)/?['\"]?:$")
_LS = re.compile(r"\bls\b(?P<rest>[^|;&]{0,400})(?P<filter>\|)?")
_TARGET = re.compile(r"^(?:[^\s]{0,100}/)?(?P<name>tty(?:USB|ACM|S|AMA)\d{1,4})$")
_SYSFS = re.compile(
    r"(?:^|/)(?P<device>\d{1,3}-\d{1,2}(?:\.\d{1,2}){0,6})(?::(?P<interface>\d{1,2}\.\d{1,3}))?"
    r"(?:/ttyUSB\d{1,4})?/tty/(?P<tty>tty(?:USB|ACM)\d{1,4})$"
)
_DRIVER = re.compile(
    r"(?:^|/)(?P<place>\d{1,3}-[\d.]{1,20}:\d{1,2}\.\d{1,3}|[0-9a-f]{4}:[0-9a-f]{2}:[0-9a-f]{2}\.[0-7])/driver$"
)
_ABSENT = re.compile(
    r"(?P<path>/dev/(?:serial(?:/by-(?:id|path))?|tty[\w*?\[\]{},-]{1,20}))"
    rf"/?['\"’»”]?(?::|\s|\u3000|에|$)[^/]{{0,60}}(?:{words('ENOENT')})"
)
_NO_DRIVER = re.compile(
    r"/sys/bus/usb/devices/(?P<place>\d{1,3}-[\d.]{1,20}:\d{1,2}\.\d{1,3})/driver"
    rf"/?['\"’»”]?(?::|\s|\u3000|에|$)[^/]{{0,60}}(?:{words('ENOENT')})"
)
# zsh and fish say so themselves
_NO_MATCH = re.compile(r"(?:no matches found: |No matches for wildcard ')(?P<path>/dev/tty[\w*?\[\]{},-]{1,20})")
_WRAPPED = re.compile(r"^[> ]{0,4}(?P<target>(?:\.\./){1,4}tty\w{2,12})$")
# overflowuid(5): accounts that have no number in a container's user namespace
_UNMAPPED = frozenset({"nobody", "nogroup", "65534"})
_TOTAL = re.compile(r"^[^\W\d]{2,12}(?: ?[:：]| )\s?\d{1,6}(?:[.,]\d)?[KMG]?$")  # "total 0", in any language
_SERIAL = "/dev/serial"
_PARTS = (f"{_SERIAL}/by-id", f"{_SERIAL}/by-path")


class _Listing:
    """One command's output: what was asked, which folders it lists, and whether it is whole."""

    def __init__(self, asked: Line | None) -> None:
        prompt = asked.prompt if asked is not None else None
        match = _LS.search(prompt) if prompt is not None else None
        self.known = match is not None
        # What a container was given shows from inside with other rights, and the rest does not show at all.
        self.elsewhere = asked is not None and into_container(asked)
        self.inside = asked is not None and in_container(asked)
        words_ = match["rest"].split() if match else []
        self.paths = [word.strip("'\"").rstrip("/") for word in words_ if word.lstrip("'\"").startswith("/")]
        self.options = "".join(word[1:] for word in words_ if re.fullmatch(r"-[A-Za-z1]{1,12}", word))
        self.filtered = match is not None and match["filter"] is not None
        self.folder = self.paths[0] if len(self.paths) == 1 and "*" not in self.paths[0] else None
        self.links: dict[str, list[int]] = {}  # folder → lines of its links
        self.broken = False
        self.total = False
        self.ttys: list[int] = []
        self.absent: dict[str, int] = {}  # pattern that matched nothing → line

    def whole(self) -> Iterator[Piece]:
        """That all names under /dev/serial, or all USB ttys, were listed."""
        if self.broken or self.filtered or self.inside:
            return
        numbers = tuple(sorted(number for rows in self.links.values() for number in rows))
        if all(self.links.get(part) for part in _PARTS) and self._asked_all():
            yield Piece("whole", numbers, "links")
        elif (rows := self.links.get(_PARTS[0])) and self._asked_by_id():
            yield Piece("whole", tuple(sorted(set(rows))), "by-id")
        usb, acm = self._asked_tty("ttyUSB*"), self._asked_tty("ttyACM*")
        if usb and acm:
            lines = sorted([*self.ttys, *(number for path, number in self.absent.items() if "tty" in path)])
            if lines:
                yield Piece("whole", tuple(lines), "ttys")

    def _asked_all(self) -> bool:
        """Whether the command lists both folders: -R, a star, or both by name; a heading for each says it, too."""
        if not self.known:
            return True
        if "R" in self.options and _SERIAL in self.paths:
            return True
        return any(path in (f"{_SERIAL}/*", f"{_SERIAL}/by-*") for path in self.paths) or set(_PARTS) <= set(self.paths)

    def _asked_by_id(self) -> bool:
        """Whether that folder was listed: by name, below its heading, or with the total that only folders have."""
        if not self.known:
            return self.total or self.folder in _PARTS
        return self.folder == _PARTS[0]

    def _asked_tty(self, pattern: str) -> bool:
        wide = {"/dev/tty*", "/dev/tty[UA]*", "/dev/tty{USB,ACM}*", "/dev/tty[AU][CS]*"}
        return any(path == f"/dev/{pattern}" or path in wide for path in self.paths)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """Nodes and links; what was listed completely is whole."""
    listing = _Listing(None)
    for index, line in enumerate(lines):
        text = line.text.strip()
        if line.prompt is not None:
            yield from listing.whole()
            listing = _Listing(line)
        elif listing.elsewhere:
            continue
        elif left_out(text):
            listing.broken = True
        elif len(text) < 400 and (match := _FOLDER.match(text)):
            if match["folder"] in listing.links:  # the same folder once more: another moment
                yield from listing.whole()
                listing = _Listing(None)
            listing.folder = match["folder"]
            if listing.folder in _PARTS:
                listing.links.setdefault(listing.folder, [])
        elif _TOTAL.match(text[:40]):
            listing.total = True
        elif match := _ROW.search(line.text[:1200]):
            following = lines[index + 1].text if index + 1 < len(lines) else ""
            yield from _row(match, listing, line, following)
        elif match := _ABSENT.search(text[:400]) or _NO_MATCH.search(text[:200]):
            yield from _absent(match["path"].rstrip("'\""), listing, line)
        elif match := _NO_DRIVER.search(text[:400]):
            yield _bound(match["place"], None, line)
        elif listing.known and "l" not in listing.options and not listing.filtered:
            yield from _names(text, listing, line)
    yield from listing.whole()


def _absent(path: str, listing: _Listing, line: Line) -> Iterator[Piece]:
    """A name that is not there; without a folder of names by ID no USB tty has a name (60-serial.rules makes both)."""
    if listing.inside:
        return
    listing.absent[path] = line.number
    if path in (_SERIAL, _PARTS[0]):
        yield Piece("whole", (line.number,), "links")
    if path.startswith("/dev/tty") and not listing.known:
        both = {"/dev/ttyUSB*", "/dev/ttyACM*"}
        if both <= set(listing.absent):
            yield Piece("whole", tuple(sorted(listing.absent[one] for one in both)), "ttys")


def _row(match: re.Match[str], listing: _Listing, line: Line, following: str) -> Iterator[Piece]:
    name, _, target = match["rest"].partition(" -> ")
    if match["type"] == "l" and not target and (wrapped := _WRAPPED.match(following[:60])):
        name, target = re.sub(r"\s?-?>?$", "", name), wrapped["target"]  # a terminal broke the row here
    # The time stands before the name; names under /dev and /sys hold no blank.
    name, target = name.strip().rpartition(" ")[2].strip("'\""), target.strip().strip("'\"")
    if match["type"] == "l":
        yield from _linked(name, target, listing, line)
        return
    if match["major"] is None or is_cut(line.text):
        return
    node = _node(match)
    folder = listing.folder
    path = name if name.startswith("/") else f"{folder}/{name}" if folder else name
    if tty := _TTY.match(path):
        node["path"] = f"/dev/{tty['name']}"
        listing.ttys.append(line.number)
        yield Piece("tty", (line.number,), {"name": tty["name"], "node": Node(**node)})
    elif _USB.match(path):
        yield Piece("usb_node", (line.number,), Node(**{**node, "path": path}))


def _linked(name: str, target: str, listing: _Listing, line: Line) -> Iterator[Piece]:
    place = f"{listing.folder}/{name}" if listing.folder and not name.startswith("/") else name
    if tty := _SYSFS.search(target):
        value: dict[str, Any] = {"name": tty["tty"]}
        if tty["interface"]:
            value["interface"] = f"{tty['device']}:{tty['interface']}"
        yield Piece("tty", (line.number,), value)
    elif (driver := _DRIVER.search(place)) and "/drivers/" in target:
        yield _bound(driver["place"], target.rpartition("/")[2], line)
    elif link := _link(name, target, listing.folder):
        listing.links.setdefault(link.path.rpartition("/")[0], []).append(line.number)
        yield Piece("link", (line.number,), link)
    elif listing.folder in listing.links:
        listing.broken = True  # a name whose target was cut off


def _bound(place: str, driver: str | None, line: Line) -> Piece:
    """A `driver` link of sysfs, or that there is none: of a USB interface or of a PCI function."""
    if place.count(":") == 1:
        device, _, rest = place.partition(":")
        number = int(rest.rpartition(".")[2])
        interface = {"name": place, "number": number, "driver": driver}
        told = {"all_interfaces": True} if driver is None else {}  # who looks at one without a driver means the device
        return Piece("device", (line.number,), {"name": device, "interfaces": [interface], **told})
    vfio = driver is not None and driver.startswith("vfio")
    return Piece("controller", (line.number,), {"address": place, "driver": driver, "vfio": vfio})


def _names(text: str, listing: _Listing, line: Line) -> Iterator[Piece]:
    """Names without rights, of `ls` without -l.  A row with whole paths has nothing but paths; else it is prose."""
    words_ = [word.strip("'\"") for word in text.split()[:400]]
    if len({word.startswith("/") for word in words_}) > 1:
        return
    for word in words_:
        path = word if word.startswith("/") else f"{listing.folder}/{word}" if listing.folder else word
        if (tty := _TTY.match(path)) and path.startswith("/dev/"):
            listing.ttys.append(line.number)
            yield Piece("tty", (line.number,), {"name": tty["name"]})
        elif path.startswith(_PARTS) and path not in _PARTS and re.fullmatch(r"[\w.:+/-]{10,300}", path):
            listing.links.setdefault(path.rpartition("/")[0], []).append(line.number)
            yield Piece("link", (line.number,), Link(path=path))


def _node(match: re.Match[str]) -> dict[str, Any]:
    node: dict[str, Any] = {"path": "", "major": int(match["major"]), "minor": int(match["minor"])}
    if match["owner"] in _UNMAPPED:
        return node  # seen from a container: whose it is on its machine does not show
    node["mode"] = _bits(match["mode"])
    for name, key in (("owner", "uid"), ("group", "gid")):
        if match[name].isdigit():
            node[key] = int(match[name])  # -n, or no such account
        else:
            node[name] = match[name]
            if match[name] == "root":
                node[key] = 0
    if match["acl"] != "+":
        node["acl"] = None  # a `+` says that there is an ACL, and not which
    return node


def _bits(mode: str) -> int:
    """Permission bits of `rw-rw----`; capital letters stand where the right to execute is not given."""
    return sum(1 << (8 - place) for place, letter in enumerate(mode) if letter in "rwxst")


def _link(name: str, target: str, folder: str | None) -> Link | None:
    path = name
    if not name.startswith("/"):
        if folder is not None and folder.startswith(_PARTS):
            path = f"{folder}/{name}"
        elif name.startswith("usb-"):
            path = f"{_PARTS[0]}/{name}"
        elif re.match(r"(?:pci|platform)-\S{1,60}-usb", name):
            path = f"{_PARTS[1]}/{name}"
        else:
            return None
    if not path.startswith(_SERIAL + "/"):
        return None
    match = _TARGET.match(target)
    return Link(path=path, target=match["name"]) if match else None
