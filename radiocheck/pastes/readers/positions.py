"""A port that is given to a modem program, and that sends satellite positions (NMEA 0183) when it is read.

A modem has several ttys, and one of them is its receiver's.  When another adapter takes a
number, those of the modem move up, and the configured number is another of its ports.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from radiocheck.evidence.serial import AppMessage
from radiocheck.pastes.line import Line
from radiocheck.pastes.piece import Piece

TITLE = "a port that sends positions"

_NODE = r"/dev/tty(?:USB|ACM)\d{1,3}"
# wvdial.conf(5), `Modem =` (from memory)
_MODEM = re.compile(rf"^\s{{0,8}}Modem\s{{0,8}}=\s{{0,8}}(?P<node>{_NODE})\s{{0,20}}$", re.IGNORECASE)
_READS = re.compile(rf"\b(?:cat|head|tail|picocom|screen|minicom|tio|cu)\b[^|;]{{0,80}}(?P<node>{_NODE})\b")
# Talker and sentence, then fields; a checksum ends it (NMEA 0183, from memory).
_SENTENCE = re.compile(
    r"^\s{0,8}\$(?:G[PNLABQ]|BD|QZ)(?:GGA|GLL|GSA|GSV|RMC|VTG|ZDA|GNS),[\w.,+-]{0,90}(?:\*[0-9A-F]{2})?\s{0,8}$"
)


def read(lines: Sequence[Line]) -> Iterator[Piece]:
    """One message for each configured port that was read and sent sentences."""
    given = {match["node"]: line.number for line in lines if (match := _modem(line))}
    sent: dict[str, tuple[int, ...]] = {}
    node: str | None = None
    for line in lines if given else ():
        if line.prompt is not None:
            match = _READS.search(line.prompt[:300])
            node = match["node"] if match else None
            asked = line.number
        elif node is not None and _SENTENCE.match(line.text[:200]):
            sent.setdefault(node, (asked, line.number))
    for node in sorted(set(given) & set(sent)):
        numbers = tuple(sorted({given[node], *sent[node]}))
        text = next(line.text.strip() for line in lines if line.number == sent[node][1])
        yield Piece("app", numbers, AppMessage(kind="positions", path=node, text=text[:200]))


def _modem(line: Line) -> re.Match[str] | None:
    return _MODEM.match(line.text[:200]) if line.prompt is None else None
