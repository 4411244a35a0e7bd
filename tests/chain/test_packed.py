"""The rules that a wheel carries are the rules of the sources."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType

import pytest

from radiocheck.chain import packed
from radiocheck.chain.rules import load, shipped

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(scope="module")
def hook() -> ModuleType:
    """The build hook, which lies outside the package."""
    spec = importlib.util.spec_from_file_location("hatch_build", ROOT / "hatch_build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_packing_loses_nothing_but_examples(tmp_path: Path, hook: ModuleType) -> None:
    """Every field of every rule and step read from the pack equals the one read from its file."""
    file = tmp_path / packed.NAME
    file.write_text(json.dumps(hook.packed(ROOT / "rules")))
    quick, slow = packed.read(file), load([shipped()])
    assert quick.steps == slow.steps
    assert set(quick.rules) == set(slow.rules)
    for name, rule in slow.rules.items():
        for field in rule.__struct_fields__:
            if field not in ("examples", "spot", "file"):
                assert getattr(quick.rules[name], field) == getattr(rule, field), (name, field)
