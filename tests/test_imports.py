"""Imports go one way, and only one module knows the condition engine."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "radiocheck"
ALLOWED = {
    "cli": {"cli", "report", "chain", "pastes", "sources", "air", "radio", "evidence"},
    "report": {"report", "chain", "air", "radio", "evidence"},
    "chain": {"chain", "radio", "evidence"},
    "pastes": {"pastes", "chain", "sources", "evidence"},
    "sources": {"sources", "evidence"},
    "air": {"air", "radio"},
    "radio": {"radio"},
    "evidence": {"evidence"},
}
FILES = sorted(file for file in PACKAGE.glob("**/*.py") if file.parent != PACKAGE)


def imported(file: Path) -> set[str]:
    """Dotted names of all modules that a file imports, relative ones made absolute."""
    found: set[str] = set()
    package = ["radiocheck", *file.relative_to(PACKAGE).parent.parts]
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            found.update({module} | {f"{module}.{alias.name}" for alias in node.names})
    return found


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(PACKAGE)))
def test_direction(file: Path) -> None:
    """A package imports only what lies before it on the data's path."""
    own = file.relative_to(PACKAGE).parts[0]
    used = {name.split(".")[1] for name in imported(file) if name.startswith("radiocheck.") and name.count(".") >= 1}
    packages = {name for name in used if (PACKAGE / name).is_dir()}
    assert packages <= ALLOWED[own], f"{file.name} of {own} imports {packages - ALLOWED[own]}"


@pytest.mark.parametrize("file", sorted((PACKAGE / "sources").glob("*.py")), ids=lambda file: file.name)
def test_sources_do_not_see_each_other(file: Path) -> None:
    """A source (a module with `collect`) is imported by nobody but the probe."""
    sources = {one.stem for one in (PACKAGE / "sources").glob("*.py") if "\ndef collect(" in one.read_text()}
    used = {name.split(".")[2] for name in imported(file) if name.startswith("radiocheck.sources.")}
    assert not (used - {file.stem}) & sources


def test_one_module_knows_the_engine() -> None:
    """CEL is behind chain/condition.py, and its typed check beside it in chain/types.py."""
    users = {file.name for file in FILES if any(name.startswith("cel_expr_python") for name in imported(file))}
    assert users == {"condition.py", "types.py"}
