"""JSON Schemas (draft 2020-12) of what radiocheck reads and writes, made from the records.

    python -m radiocheck.report.schema [FOLDER]

writes them into the folder (default: schemas): of the report, of a line about one of many
cases, of the evidence, the air report, and of `air.yaml` as a person writes it.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import msgspec

from radiocheck.air.site import Site
from radiocheck.chain.air_report import AIR_FORMAT, AirReport
from radiocheck.chain.verdict import REPORT_FORMAT, Report
from radiocheck.evidence.record import FORMAT, Evidence

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def report_schema() -> dict[str, Any]:
    """The report: every field is always written, and later versions may add fields."""
    return _written(Report, "radiocheck report", "radiocheck_report", REPORT_FORMAT)


def case_schema() -> dict[str, Any]:
    """A line about one of many cases: its report with the file's name, or why there is none."""
    schema = {**report_schema(), "title": "radiocheck case"}
    report = schema["$defs"]["Report"]
    report["properties"] = {"case": {"type": "string"}, **report["properties"]}
    report["required"].insert(0, "case")
    unread = {"title": "Unread", "description": "A file that could not be read, and why.", "type": "object"}
    both = ["case", "error"]
    schema["$defs"]["Unread"] = {**unread, "properties": {name: {"type": "string"} for name in both}, "required": both}
    del schema["$ref"]
    return {**schema, "anyOf": [{"$ref": "#/$defs/Report"}, {"$ref": "#/$defs/Unread"}]}


def air_report_schema() -> dict[str, Any]:
    """The air report, as the report: every field is always written."""
    return _written(AirReport, "radiocheck air report", "radiocheck_air", AIR_FORMAT)


def _written(record: type[msgspec.Struct], title: str, mark: str, version: int) -> dict[str, Any]:
    schema = _schema(record, title)
    for part in schema["$defs"].values():
        part["required"] = list(part["properties"])
        for field in part["properties"].values():
            field.pop("default", None)
    schema["$defs"][record.__name__]["properties"][mark] = {"const": version}
    return schema


def site_schema() -> dict[str, Any]:
    """`air.yaml` as it is written: quantities are text with a unit, which the records hold as numbers."""
    schema: dict[str, Any] = _as_text(_schema(Site, "radiocheck air.yaml"))
    return schema


def _as_text(part: Any) -> Any:
    """The schema with every number that is written with a unit as text, without nulls and their defaults."""
    if isinstance(part, list):
        return [_as_text(one) for one in part]
    if not isinstance(part, dict):
        return part
    made = {key: _as_text(value) for key, value in part.items() if key != "default"}
    if "anyOf" in made:
        kinds = [one for one in made.pop("anyOf") if one != {"type": "null"}]
        made |= kinds[0] if len(kinds) == 1 else {"anyOf": kinds}
    if "pattern" in made or "enum" in made:
        made["type"] = "string"
    if made.get("additionalProperties") == {"type": "number"}:  # `assume`: its fields are named
        made["additionalProperties"] = False
    return made


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
    """All schemas by file name, as text."""
    made = {
        "report.schema.json": report_schema(),
        "case.schema.json": case_schema(),
        "evidence.schema.json": evidence_schema(),
        "air-report.schema.json": air_report_schema(),
        "air.schema.json": site_schema(),
    }
    return {name: json.dumps(schema, indent=2, ensure_ascii=True) + "\n" for name, schema in made.items()}


def main(folder: str = "schemas") -> None:
    """Write the schemas into a folder."""
    for name, text in schemas().items():
        (Path(folder) / name).write_text(text, encoding="ascii")


if __name__ == "__main__":
    main(*sys.argv[1:2])
