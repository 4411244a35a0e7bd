"""How many frames to a device of the mesh were lost: `wpan-ping`, and `ping` over a network of IEEE 802.15.4.

Formats: wpan-tools, wpan-ping/wpan-ping.c; iputils, ping_common.c, finish() (both from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.evidence.air import AirReading
from radiocheck.pastes.line import Line
from radiocheck.pastes.meanwhile import around
from radiocheck.pastes.piece import Piece

TITLE = "wpan-ping"

_READ = 200
_ABOVE = 8  # lines from the command, or its first line, to the statistics
_SENT = re.compile(r"^\s{0,12}(?P<sent>\d{1,6}) packets transmitted, (?P<received>\d{1,6}) (?:packets )?received\b")
# `PING 0x0002 (PAN ID 0xbeef)`, `--- 0x0002 ping statistics ---`, an interface of 6LoWPAN
_MESH = re.compile(
    r"\bwpan-ping\b|\bPAN ID 0x[0-9a-f]{1,4}\b|--- 0x[0-9a-f]{4,16} ping statistics|\b(?:low|w)pan\d", re.I
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One reading for each statistics of a mesh."""
    ended = -1
    for index, line in enumerate(lines):
        match = _SENT.match(line.text[:_READ])
        if match is None:
            continue
        first = next((at for at in range(index, max(ended, index - _ABOVE), -1) if _is_of_mesh(lines[at])), None)
        if first is not None:
            transfer, setup = around(lines, index, ended)
            sent, received = int(match["sent"]), int(match["received"])
            yield Piece(
                "air",
                tuple(sorted({lines[first].number, line.number})),
                AirReading(
                    kind="loss",
                    transfer=transfer,
                    setup=setup,
                    sent=sent,
                    received=min(sent, received),
                    text=line.text.strip()[:_READ],
                ),
            )
        ended = index


def _is_of_mesh(line: Line) -> bool:
    return _MESH.search(line.text[:_READ]) is not None
