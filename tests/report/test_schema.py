"""The published schemas."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from radiocheck.report.schema import (
    air_report_schema,
    case_schema,
    evidence_schema,
    report_schema,
    schemas,
    site_schema,
)

FOLDER = Path(__file__).parents[2] / "schemas"


@pytest.mark.parametrize("name", sorted(schemas()))
def test_is_current(name: str) -> None:
    """The files in the repository are what the records give; `python -m radiocheck.report.schema` renews them."""
    assert (FOLDER / name).read_text(encoding="ascii") == schemas()[name]


@pytest.mark.parametrize(
    "schema",
    [report_schema(), case_schema(), evidence_schema(), air_report_schema(), site_schema()],
    ids=["report", "case", "evidence", "air-report", "air"],
)
def test_is_a_schema(schema: dict[str, object]) -> None:
    """All are valid JSON Schemas of draft 2020-12."""
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]


def test_report_fields_are_all_promised() -> None:
    """Every field of a report is required, since it is always written; more may come."""
    for record in [*report_schema()["$defs"].values(), *air_report_schema()["$defs"].values()]:
        assert record["required"] == list(record["properties"])
        assert "additionalProperties" not in record


def test_evidence_refuses_unknown_fields() -> None:
    """The evidence has no room for fields that it does not know, as its loader."""
    for record in evidence_schema()["$defs"].values():
        assert record["additionalProperties"] is False


@pytest.mark.parametrize(
    "wrong",
    [
        {"channel": 9},
        {"extension": 1.5},
        {"extension": "1.5"},
        {"extension": None},
        {"lnks": []},
        {"survey": [{"channel": 3}]},
        {"assume": {"spred": "1 dB"}},
        {"walls": {"a": {"material": "brik", "thickness": "1 mm"}}},
        {"links": [{"name": "a", "distance": "3 m", "device": "toaster"}]},
    ],
    ids=str,
)
def test_air_yaml_refuses(wrong: dict[str, object]) -> None:
    """The schema of `air.yaml` refuses what its reader refuses: missing units, unknown fields and words."""
    assert list(jsonschema.Draft202012Validator(site_schema()).iter_errors(wrong))


def test_command_writes_all(tmp_path: Path) -> None:
    """The command writes the files into the folder that is named."""
    subprocess.run([sys.executable, "-m", "radiocheck.report.schema", str(tmp_path)], check=True, timeout=60)
    assert {file.name: file.read_text() for file in tmp_path.iterdir()} == schemas()
