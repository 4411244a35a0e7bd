"""Read scenario files and refuse those that are not clear.

A scenario says what is set up, how it is seen without radiocheck that it happened,
and what radiocheck must say.  tests/bench/README.md describes the fields.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml

FOLDER = Path(__file__).resolve().parent / "scenarios"
STEPS = ("power", "bus", "driver", "name", "access", "assignment", "handover", "guest", "radio", "air")
STATES = ("broken", "weak", "sound", "unseen")
BOOTS = ("plain", "no-iommu", "crowded")

# Field: (type, obligatory).  A nested table is checked by its own table below.
FIELDS: dict[str, tuple[type, bool]] = {
    "title": (str, True),
    "note": (str, False),
    "boot": (str, False),
    "setup": (list, True),
    "look": (list, True),
    "expect": (dict, True),
    "also": (list, False),
    "not": (list, False),
    "user": (str, False),
    "remedy": (dict, False),
    "cleanup": (list, False),
    "whole": (bool, False),
    "guest": (bool, False),
}
EXPECT: dict[str, tuple[type, bool]] = {
    "state": (str, True),
    "step": (str, False),
    "rule": (str, False),
    "adapter": (str, False),
    "with": (list, False),
}
REMEDY: dict[str, tuple[type, bool]] = {
    "rule": (str, True),
    "apply": (bool, False),
    "which": (str, False),
    "by_hand": (list, False),
    "then": (list, False),
    "after": (str, False),
}


class ScenarioError(Exception):
    """Every complaint about the scenario files, one a line."""


class _Loader(yaml.SafeLoader):
    """A loader that refuses the same key twice."""


def _mapping(loader: _Loader, node: yaml.MappingNode) -> dict[Any, Any]:
    seen: set[Any] = set()
    for key_node, _ in node.value:
        key = loader.construct_object(key_node)
        if key in seen:
            raise yaml.MarkedYAMLError(problem=f"{key!r} is there twice", problem_mark=key_node.start_mark)
        seen.add(key)
    return loader.construct_mapping(node, deep=True)


_Loader.add_constructor("tag:yaml.org,2002:map", _mapping)


def load_all(folder: Path = FOLDER) -> list[dict[str, Any]]:
    """Read all scenarios, by name.  Raises `ScenarioError` with every complaint."""
    scenarios, complaints = [], []
    for path in sorted(folder.glob("*.yaml")):
        try:
            data = yaml.load(path.read_text(encoding="utf-8"), _Loader)
        except yaml.YAMLError as error:
            complaints.append(f"{path.name}: {error}")
            continue
        found = complain(data)
        complaints += [f"{path.name}: {line}" for line in found]
        if not found:
            scenarios.append({"name": path.stem, "boot": "plain", **data})
    if complaints:
        raise ScenarioError("\n".join(complaints))
    return scenarios


def complain(data: object) -> list[str]:
    """Say all that is wrong with one scenario; nothing when it is good."""
    found = _check_table(data, FIELDS, "")
    if found or not isinstance(data, dict):
        return found
    expect = data["expect"]
    found += _check_table(expect, EXPECT, "expect.")
    found += _one_of(expect.get("state"), STATES, "expect.state")
    found += _one_of(data.get("boot", "plain"), BOOTS, "boot")
    if expect.get("state") in ("broken", "weak"):
        found += [f"expect.{key}: a fault needs it" for key in ("step", "rule") if key not in expect]
        found += _one_of(expect.get("step"), STEPS, "expect.step")
    else:
        found += [f"expect.{key}: only a fault has one" for key in ("rule", "with") if key in expect]
    for state in data.get("not", []):
        found += _one_of(state, STATES, "not")
    for key in ("setup", "look", "also", "cleanup"):
        found += [f"{key}: {line!r} is not text" for line in data.get(key, []) if not isinstance(line, str)]
    if data.get("guest") and data.get("whole"):
        found.append("whole: `radiocheck check` in the machine has no capture of the guest")
    if not data["look"]:
        found.append("look: at least one line must prove that it happened")
    if "remedy" in data:
        remedy = data["remedy"]
        found += _check_table(remedy, REMEDY, "remedy.")
        found += _one_of(remedy.get("after", "sound"), STATES, "remedy.after")
        if bool(remedy.get("apply")) == bool(remedy.get("by_hand")):
            found.append("remedy: either `apply: true` or the lines of `by_hand`")
    return found


def _check_table(data: object, fields: dict[str, tuple[type, bool]], where: str) -> list[str]:
    if not isinstance(data, dict):
        return [f"{where.rstrip('.') or 'the file'}: not a table of fields"]
    found = [f"{where}{key}: no such field" for key in data if key not in fields]
    for key, (kind, obligatory) in fields.items():
        if key in data and not isinstance(data[key], kind):
            found.append(f"{where}{key}: {kind.__name__} is wanted, not {type(data[key]).__name__}")
        elif key not in data and obligatory:
            found.append(f"{where}{key}: missing")
    return found


def _one_of(value: object, allowed: tuple[str, ...], where: str) -> list[str]:
    return [] if value in allowed else [f"{where}: {value!r} is not one of {', '.join(allowed)}"]
