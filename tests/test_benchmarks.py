"""The benchmarks can be found and read.  Nothing is timed here."""

from __future__ import annotations

import importlib
import inspect
from pathlib import Path

import pytest

import benchmarks
from benchmarks import testbed
from benchmarks.__main__ import NAMES, main

FOLDER = Path(benchmarks.__file__).parent


def test_every_benchmark_is_listed() -> None:
    """Each module with a `main` that returns claims can be asked for by name."""
    found = {
        file.stem
        for file in FOLDER.glob("*.py")
        if not file.stem.startswith("_") and hasattr(importlib.import_module(f"benchmarks.{file.stem}"), "main")
    }
    assert found == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_benchmark_says_what_it_measures(name: str) -> None:
    """Each has a docstring, a `main` without parameters, and a row in the README's table."""
    module = importlib.import_module(f"benchmarks.{name}")
    assert module.__doc__
    assert not inspect.signature(module.main).parameters
    assert f"| `{name}` |" in (FOLDER / "README.md").read_text("utf-8")


def test_a_name_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong name is a usage error that says which names there are."""
    assert main(["speed"]) == 2
    assert ", ".join(NAMES) in capsys.readouterr().err


@pytest.mark.parametrize("adapters", [1, 16, 127])
def test_described_machine_fits_its_buses(adapters: int) -> None:
    """No bus has more than the 127 addresses of USB 2.0 (9.4.6), and each adapter has a tty."""
    text = "\n".join(testbed.describe(adapters))
    numbers = [int(line.partition("=")[2]) for line in text.splitlines() if line.startswith("E: DEVNUM=")]
    assert max(numbers) <= 127
    assert text.count("N: ttyUSB") == adapters
