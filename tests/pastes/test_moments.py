"""Before and after: a later complete list says what is gone."""

from __future__ import annotations

from radiocheck.pastes.line import lines
from radiocheck.pastes.moments import current
from radiocheck.pastes.piece import Piece
from radiocheck.pastes.readers import listing, lsusb, lsusb_tree

from .readers.said import sample, typed

LSUSB = sample("lsusb_usbutils-018_gable")
TREE = sample("lsusb-t_usbutils-018_gable")
WITHOUT = "\n".join(row for row in LSUSB.splitlines() if "7a01" not in row) + "\n"


def pieces(text: str) -> list[Piece]:
    """What three readers find, in the order of the lines."""
    rows = lines(text.encode())
    found = [piece for reader in (lsusb, lsusb_tree, listing) for piece in reader.read(rows)]
    return sorted(found, key=lambda piece: piece.lines[0])


def devices(text: str) -> list[tuple[int, int]]:
    """Bus and number of what is left."""
    return [(one.value["bus"], one.value["devnum"]) for one in current(pieces(text)) if one.kind == "device"]


def test_what_a_later_list_lacks_is_gone() -> None:
    """Unplugged between two `lsusb`; the tree before it is of then, too."""
    assert (1, 5) in devices(typed("lsusb", LSUSB))
    assert (1, 5) not in devices(typed("lsusb", LSUSB) + typed("lsusb -t", TREE) + typed("lsusb", WITHOUT))
    assert devices(typed("lsusb -t", TREE) + typed("lsusb", LSUSB)).count((1, 5)) == 2


def test_what_comes_later_is_there() -> None:
    """Plugged in after the list."""
    assert (1, 5) in devices(typed("lsusb", WITHOUT) + typed("lsusb -t", TREE))
    assert (1, 5) in devices(typed("lsusb", LSUSB) + typed("lsusb | grep -v foo", WITHOUT))


def test_names_that_are_gone() -> None:
    """A folder with a name, and then no folder."""
    row = "lrwxrwxrwx 1 root root 13 Nov 25 12:00 usb-x-if00-port0 -> ../../ttyUSB0\n"
    absent = "ls: cannot access '/dev/serial/by-id': No such file or directory\n"
    first, then = typed("ls -l /dev/serial/by-id", row), typed("ls -l /dev/serial/by-id", absent)
    found = [[one for one in current(pieces(text)) if one.value != "by-id"] for text in (first + then, then + first)]
    assert [one.kind for one in found[0]] == ["whole"]
    assert [one.kind for one in found[1]] == ["whole", "link"]


def test_without_a_complete_list_nothing_is_gone() -> None:
    """A part lacks what it lacks."""
    found = pieces(LSUSB.partition("\n")[0])
    assert current(found) == found
