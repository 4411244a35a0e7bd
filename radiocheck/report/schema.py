"""JSON Schemas (draft 2020-12) of the report and of the evidence, made from the records.

    python -m radiocheck.report.schema [FOLDER]

writes `report.schema.json` and `evidence.schema.json` into the folder (default: schemas).
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import msgspec

from radiocheck.chain.verdict import REPORT_FORMAT, Report
from radiocheck.evidence.record import FORMAT, Evidence

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def report_schema() -> dict[str, Any]:
    """The report: every field is always written, and later versions may add fields."""
    schema = _schema(Report, "radiocheck report")
    for record in schema["$defs"].values():
        record["required"] = list(record["properties"])
        for field in record["properties"].values():
            field.pop("default", None)
    schema["$defs"]["Report"]["properties"]["radiocheck_report"] = {"const": REPORT_FORMAT}
    return schema


def evidence_schema() -> dict[str, Any]:
    """The evidence: a field that is not written could not be seen; null means that there is none."""
    schema = _schema(Evidence, "radiocheck evidence")
    schema["$defs"]["Evidence"]["properties"]["radiocheck_evidence"] = {"const": FORMAT}
    return schema


def _schema(record: type[msgspec.Struct], title: str) -> dict[str, Any]:
    schema: dict[str, Any] = {"$schema": DRAFT, "title": title, **msgspec.json.schema(record)}
    for part in schema["$defs"].values():  # Python 3.13 strips the indentation of docstrings, 3.11 keeps it
        if "description" in part:
            part["description"] = " ".join(part["description"].split())
    return schema


def schemas() -> dict[str, str]:
    """Both schemas by file name, as text."""
    made = {"report.schema.json": report_schema(), "evidence.schema.json": evidence_schema()}
    return {name: json.dumps(schema, indent=2, ensure_ascii=True) + "\n" for name, schema in made.items()}


def main(folder: str = "schemas") -> None:
    """Write the schemas into a folder."""
    for name, text in schemas().items():
        (Path(folder) / name).write_text(text, encoding="ascii")


if __name__ == "__main__":
    main(*sys.argv[1:2])
