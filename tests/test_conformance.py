"""The house rules, held by a walk over every unit instead of by a reviewer."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from radiocheck.sources.probe import sources

ROOT = Path(__file__).parent.parent
CODE = sorted((ROOT / "radiocheck").rglob("*.py"))
TESTS = sorted((ROOT / "tests").rglob("test_*.py"))
LONGEST = 320  # "about 300 lines"


def name(file: Path) -> str:
    """A file's path within the repository."""
    return str(file.relative_to(ROOT))


@pytest.mark.parametrize("file", [*CODE, *TESTS], ids=name)
def test_files_are_short_and_say_what_they_are(file: Path) -> None:
    """Every file has a docstring; code stays short; no name that says nothing."""
    text = file.read_text()
    assert not text.strip() or ast.get_docstring(ast.parse(text)), "no docstring"
    assert file in TESTS or text.count("\n") <= LONGEST
    assert not {"utils", "util", "manager", "helper", "helpers", "misc", "common"} & {file.stem, file.parent.name}


@pytest.mark.parametrize("file", CODE, ids=name)
def test_public_functions_are_documented(file: Path) -> None:
    """Every public function and class has a docstring."""
    for node in ast.parse(file.read_text()).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} has no docstring"


def checking(tree: ast.Module) -> set[str]:
    """Functions of a file that assert, expect a refusal, or call one of its functions that does."""
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    found = {
        node.name
        for node in functions
        if any(
            isinstance(inner, ast.Assert) or (isinstance(inner, ast.Attribute) and inner.attr in ("raises", "fail"))
            for inner in ast.walk(node)
        )
    }
    while True:
        more = {
            node.name
            for node in functions
            if any(isinstance(inner, ast.Name) and inner.id in found for inner in ast.walk(node))
        }
        if more <= found:
            return found
        found |= more


@pytest.mark.parametrize("file", TESTS, ids=name)
def test_tests_state_their_fact(file: Path) -> None:
    """Every test has a docstring that states its fact, and can fail by more than an error."""
    tree = ast.parse(file.read_text())
    able = checking(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            assert ast.get_docstring(node), f"{node.name} states no fact"
            assert node.name in able, f"{node.name} asserts nothing"


@pytest.mark.parametrize("source", sources())
def test_every_source_is_tested(source: str) -> None:
    """A source has a test file of its own name."""
    assert (ROOT / "tests" / "sources" / f"test_{source}.py").exists()


def test_lint_exceptions_have_reasons() -> None:
    """`noqa` and `type: ignore` stand with a reason behind them."""
    for file in [*CODE, *TESTS]:
        for number, line in enumerate(file.read_text().splitlines(), 1):
            for mark in ("# noqa", "# type: ignore"):
                if mark in line and "mark in line" not in line and f'"{mark}"' not in line:
                    reason = re.sub(r"^(: [A-Z0-9, ]+\b|\[[a-z, -]*\])", "", line.split(mark, 1)[1])
                    assert len(reason.strip(" #()")) > 3, f"{name(file)}:{number}: an exception without a reason"


def test_nothing_names_a_machine_or_a_registry() -> None:
    """No committed text carries a home folder, a work folder of a build machine, or a registry's host."""
    suspicious = (" /ro" + "ot/", "/wo" + "rk/", "pypi" + ".org", "deb.deb" + "ian.org", "files.python" + "hosted")
    for folder in ("radiocheck", "rules", "tests", "benchmarks", "schemas"):
        for file in (ROOT / folder).rglob("*"):
            if file.is_file() and file.suffix in (".py", ".yaml", ".md", ".json", ".sh", ".toml", ".tsv"):
                text = file.read_text(errors="replace")
                assert not [word for word in suspicious if word in text], name(file)
