"""The report as JSON."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import msgspec
from hypothesis import HealthCheck, given, settings

from radiocheck.chain.verdict import REPORT_FORMAT, Report
from radiocheck.report.machine import encoded
from tests.report.scenarios import BROKEN, HIDDEN, SOUND, report
from tests.strategies import records

SCHEMA = jsonschema.Draft202012Validator(
    json.loads((Path(__file__).parents[2] / "schemas" / "report.schema.json").read_text())
)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(records(Report))
def test_any_report_fits_the_schema_and_comes_back(drawn: Report) -> None:
    """The published schema describes what is written; another JSON reader gives every string back unchanged."""
    drawn = msgspec.structs.replace(drawn, radiocheck_report=REPORT_FORMAT)
    read = json.loads(encoded(drawn))
    SCHEMA.validate(read)
    assert msgspec.convert(read, Report) == drawn


def test_has_the_promised_fields() -> None:
    """The fields that programs are promised, by name."""
    read = json.loads(encoded(report(BROKEN, SOUND, missing=HIDDEN)))
    assert read["verdict"] == {"state": "broken", "step": "handover", "sentence": BROKEN.sentence}
    first = read["chains"][0]
    assert {"adapter", "route", "state", "step", "steps"} <= first.keys()
    handover = first["steps"][6]
    assert {"step", "state", "findings"} <= handover.keys()
    assert {"rule", "result", "seen", "remedies", "missing"} <= handover["findings"][0].keys()


def test_cannot_steer_a_terminal() -> None:
    """Controls and directional overrides are JSON escapes: the text is printable ASCII and newlines."""
    hostile = msgspec.structs.replace(report(SOUND), host="\x1b]0;x\x07\x7f\x9b\u202e\ud800")
    shown = encoded(hostile)
    assert all(char == "\n" or " " <= char <= "~" for char in shown)
    assert json.loads(shown)["host"].startswith("\x1b]0;x\x07\x7f\x9b\u202e")
