"""A VM's kernel log beside its host's: two kernels, whose buses and ttys have the same names and nothing in common."""

from __future__ import annotations

from collections.abc import Sequence

from .line import Line
from .piece import Piece
from .speakers import GUEST, machines

_OF_LOG = frozenset({"event", "log"})
# A device that comes, has its driver, and goes; requests still fail while it goes.
_COMES_AND_GOES = frozenset(
    """
    new-device found strings string-value converter-detected chip-detected attached acm storage disconnect detached
    converter-gone urb-stopped chip-request-error chip-control-error chip-vendor-error bus-registered
    """.split()
)


def of_host(pieces: Sequence[Piece], rows: Sequence[Line]) -> list[Piece]:
    """The pieces, without the VM's log where its host's is there, too.

    What a VM sees go its host took away or lost: the host's own log tells which.  A VM's log is kept when it stands
    alone, and when it has more to tell, such as a device that it cannot enumerate.
    """
    logged = [piece for piece in pieces if piece.kind == "event"]
    if not logged:
        return list(pieces)
    virtual = {row.number for row, machine in zip(rows, machines(rows), strict=True) if machine == GUEST}
    of_vm = [piece for piece in logged if virtual.issuperset(piece.lines)]
    if len(of_vm) in (0, len(logged)) or any(piece.value[1].kind not in _COMES_AND_GOES for piece in of_vm):
        return list(pieces)
    return [piece for piece in pieces if piece.kind not in _OF_LOG or not virtual.issuperset(piece.lines)]
