"""`radiocheck rules`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from radiocheck.chain.rules import load, shipped
from radiocheck.cli.main import cli
from radiocheck.report.page import page
from tests.cli.program import environment, one_sentence, radiocheck
from tests.cli.test_judge import OWN_RULE

RULES = load([shipped()])


def shown(*words: str) -> str:
    """The output of `radiocheck rules WORDS`, which ends well."""
    done = CliRunner().invoke(cli, ["rules", *words], env={"LC_ALL": "C.UTF-8", "COLUMNS": "80"})
    assert done.exit_code == 0, done.output
    return done.output


def test_lists_every_rule() -> None:
    """Every shipped rule is listed with its name, and every step with its question."""
    listed = shown()
    for name in RULES.rules:
        assert f"  {name} " in listed
    for step in RULES.steps:
        assert f"{step.name}: " in listed


def test_shows_a_page() -> None:
    """A rule's name gives its page, as the report renders it."""
    name = next(iter(RULES.rules))
    assert shown(name) == page(RULES.rules[name], RULES)


def test_every_shipped_rule_has_a_page() -> None:
    """Each page begins with the rule's name and names every source and remedy."""
    for name, rule in RULES.rules.items():
        words = " ".join(page(rule, RULES).split())
        assert words.startswith(f"{name} ")
        for text in (*rule.sources, *(cure.do for cure in rule.remedies)):
            assert " ".join(text.split()) in words


def test_unknown_rule_suggests_the_nearest() -> None:
    """A misspelt name is a sentence with the nearest one, status 2."""
    name = next(iter(RULES.rules))
    assert f"did you mean {name}?" in one_sentence(radiocheck("rules", name[:-1]))


def test_own_rules_are_listed(tmp_path: Path) -> None:
    """`--rules` adds a person's own."""
    (tmp_path / "bus").mkdir()
    (tmp_path / "bus" / "too-new.yaml").write_text(OWN_RULE)
    assert "  too-new " in shown("--rules", str(tmp_path))
    assert shown("too-new", "--rules", str(tmp_path)).startswith("too-new\n")


def test_check_of_good_rules() -> None:
    """The shipped rules have no complaint: status 0."""
    assert shown("--check", str(shipped())) == "No complaints.\n"


@pytest.mark.parametrize(
    ("good", "bad", "place"),
    [
        ("gravity: strain", "gravity: heavy", ":3:"),
        ("bus.connected_s < 86400", "bus.conected_s < 86400", ":7:"),
        ("connected_s: 5}", "connected_s: 90000}", ":12:"),
        ("step: bus\n", "step: bus\nstep: bus\n", ":3:"),
    ],
)
def test_check_of_bad_rules(good: str, bad: str, place: str, tmp_path: Path) -> None:
    """A wrong word, a misspelt fact, an example that gives another result, a double key: its place, status 2."""
    (tmp_path / "bus").mkdir()
    file = tmp_path / "bus" / "too-new.yaml"
    file.write_text(OWN_RULE.replace(good, bad))
    done = CliRunner().invoke(cli, ["rules", "--check", str(tmp_path)])
    assert done.exit_code == 2
    assert f"{file}{place}" in done.output


def test_check_and_name_exclude_each_other(tmp_path: Path) -> None:
    """Both at once is wrong usage."""
    assert radiocheck("rules", "x", "--check", str(tmp_path)).returncode == 2


def test_survives_head() -> None:
    """The list into a pipe that closes early is quiet and 0."""
    script = f"{sys.executable} -m radiocheck rules | head -1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", script], capture_output=True, env=environment(), check=False)
    assert (done.returncode, done.stderr) == (0, b"")
