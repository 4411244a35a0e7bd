"""Every saved machine under fixtures/ is judged to what is written beside it."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from radiocheck.chain.judge import judge
from radiocheck.chain.rules import load, shipped
from radiocheck.evidence.store import load as load_evidence
from radiocheck.evidence.store import save

FOLDERS = sorted(file.parent for file in (Path(__file__).parent.parent / "fixtures").glob("*/evidence.json"))
RULES = load([shipped()])


def test_there_are_fixtures() -> None:
    """The demo is among them."""
    assert "demo" in {folder.name for folder in FOLDERS}


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_verdict(folder: Path) -> None:
    """State, step and rule are those that the set-up of the machine made, and no other break is named."""
    expect = yaml.safe_load((folder / "expect.yaml").read_text())
    assert set(expect) == {"title", "origin", "state", "step", "rule"}
    inside = folder / "guest.json"
    guest = load_evidence(inside.read_bytes(), folder.name) if inside.exists() else None
    report = judge(load_evidence((folder / "evidence.json").read_bytes(), folder.name), RULES, guest=guest)
    assert (report.verdict.state, report.verdict.step) == (expect["state"], expect["step"]), report.verdict
    own = [
        (one.rule, one.gravity)
        for chain in report.chains
        for step in chain.steps
        for one in step.findings
        if one.result == "found" and one.explained_by is None
    ]
    if expect["rule"] is None:
        assert own == []
    else:
        assert expect["rule"] in [rule for rule, _ in own]
        assert sum(gravity == "break" for _, gravity in own) <= sum(chain.state == "broken" for chain in report.chains)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_saving_changes_nothing(folder: Path) -> None:
    """Evidence that is saved and loaded again is equal, that of a VM too."""
    for file in folder.glob("*.json"):
        evidence = load_evidence(file.read_bytes(), folder.name)
        assert load_evidence(save(evidence), "again") == evidence
