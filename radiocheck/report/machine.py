"""The report as JSON, the stable format for programs: schemas/report.schema.json."""

from __future__ import annotations

from radiocheck.chain.verdict import Report
from radiocheck.evidence.store import encode


def encoded(report: Report) -> str:
    """Indented ASCII JSON with a newline at the end.

    Strings are the device's own, complete; JSON's escapes keep controls and
    bidirectional overrides off the terminal.
    """
    return encode(report).decode("ascii")
