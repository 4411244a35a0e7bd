"""Packs the shipped rules into one file of the wheel, so that a check need not read a hundred.

Examples stay out: they are the rules' tests, and tests run from the sources.  Everything
else about the rules is held by the tests before a wheel is built.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

import yaml
from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class PackRules(BuildHookInterface):  # type: ignore[type-arg]  # hatchling gives its hooks no parameters here
    """Adds `radiocheck/rules/packed.json` to a wheel.  Editable installs read the sources."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Called by hatchling before it builds."""
        if self.target_name != "wheel" or version == "editable":
            return
        self.folder = tempfile.TemporaryDirectory()
        file = Path(self.folder.name) / "packed.json"
        file.write_text(json.dumps(packed(Path(self.root) / "rules"), ensure_ascii=False, separators=(",", ":")))
        build_data["force_include"][str(file)] = "radiocheck/rules/packed.json"


def packed(folder: Path) -> dict[str, Any]:
    """The steps and the rules as they are written, without their examples."""
    rules = []
    for file in sorted(folder.glob("*/*.yaml")):
        rule = _read(file)
        del rule["examples"]
        rules.append(rule)
    return {"steps": _read(folder / "steps.yaml"), "rules": rules}


def _read(file: Path) -> Any:
    return _stripped(yaml.load(file.read_text(), getattr(yaml, "CSafeLoader", yaml.SafeLoader)))


def _stripped(value: Any) -> Any:
    """Texts without the blank lines that YAML's blocks end with, as the loader reads them."""
    if isinstance(value, dict):
        return {key: _stripped(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_stripped(item) for item in value]
    return value.strip() if isinstance(value, str) else value
