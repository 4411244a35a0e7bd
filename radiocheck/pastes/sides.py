"""A VM's kernel log beside its host's: two kernels, whose buses and ttys have the same names and nothing in common."""

from __future__ import annotations

from collections.abc import Sequence

from radiocheck.chain.history import ENUMERATION_ERRORS
from radiocheck.evidence.serial import IN_GUEST, AppMessage

from .piece import Piece

_OF_LOG = frozenset({"event", "log"})
# A device that comes, has its driver, and goes; requests still fail while it goes.
_COMES_AND_GOES = frozenset(
    """
    new-device found strings string-value converter-detected chip-detected attached acm storage disconnect detached
    converter-gone urb-stopped chip-request-error chip-control-error chip-vendor-error bus-registered
    """.split()
)
_FAILS = ENUMERATION_ERRORS | {"set-config-failed", "power-cycle", "config-unreadable"}
_THERE = frozenset({"reset", "found", "attached", "acm", "foreign-set-config", "unclaimed-use"})


def of_host(pieces: Sequence[Piece], guest: set[int]) -> list[Piece]:
    """The pieces, without the VM's log where its host's is there, too.

    What a VM sees go its host took away or lost: the host's own log tells which.  A VM's log is kept when it stands
    alone.  That it cannot set up a device which its host has is told as its words; other trouble is kept as it is.
    `guest`: the numbers of the VM's rows.
    """
    logged = [piece for piece in pieces if piece.kind == "event"]
    if not logged:
        return list(pieces)
    of_vm = [piece for piece in logged if guest.issuperset(piece.lines)]
    if len(of_vm) in (0, len(logged)):
        return list(pieces)
    of_hosts = {piece.value[1].kind for piece in logged if piece not in of_vm}
    fails = [piece for piece in of_vm if piece.value[1].kind in _FAILS]
    if of_hosts & _FAILS or not of_hosts & _THERE:
        fails = []
    if any(piece.value[1].kind not in _COMES_AND_GOES for piece in of_vm if piece not in fails):
        return list(pieces)
    rest = [piece for piece in pieces if piece.kind not in _OF_LOG or not guest.issuperset(piece.lines)]
    if fails:
        said = AppMessage(kind=IN_GUEST, program="kernel", text=fails[-1].value[1].text)
        rest.append(Piece("app", fails[-1].lines, said))
    return rest
