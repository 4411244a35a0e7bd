"""`--format paste`: the private is replaced first, and the rest works with what is left."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import TYPE_CHECKING

from msgspec.structs import replace

from radiocheck.evidence import posted
from radiocheck.evidence.posted import Posted
from radiocheck.evidence.redact import redact

if TYPE_CHECKING:
    from radiocheck.chain.verdict import Report


def prepared(asked: Posted) -> tuple[Posted, Mapping[str, int] | None]:
    """What is judged, shown and put into the block, and how many names of each kind stand-ins replace in it."""
    counts: Mapping[str, int] | None = None
    if not asked.revealed:
        guests = () if asked.guest is None else (asked.guest,)
        redacted = redact(asked.evidence, *guests, hosts=(os.uname().nodename,))
        counts = redacted.counts
        asked = replace(
            asked,
            evidence=redacted.records[0],
            guest=redacted.records[1] if guests else None,
            adapter=redacted.stand_in(asked.adapter) if asked.adapter else None,
            vm=redacted.stand_in(asked.vm) if asked.vm else None,
        )
    guest = posted.rounded(asked.guest) if asked.guest is not None else None
    return replace(asked, evidence=posted.rounded(asked.evidence), guest=guest), counts


def written(report: Report, used: Posted, removed: Mapping[str, int] | None, own_rules: bool) -> str:
    """The whole text for pasting."""
    from radiocheck.report.paste import paste

    try:
        block = posted.write(used)
    except ValueError:
        block = None
    return paste(report, block, removed, posted.sizes(used.evidence), own_rules)
