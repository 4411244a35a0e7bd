"""Run every source once and put what they saw on one paper."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from typing import Any

import radiocheck.sources
from radiocheck import __version__
from radiocheck.evidence.record import FORMAT, Evidence, Gap, Taken

from .machine import Machine, Seen

Collect = Callable[[Machine], Seen]


def sources() -> dict[str, Collect]:
    """All sources by name: the modules of this package that have a `collect`."""
    found: dict[str, Collect] = {}
    for module in pkgutil.iter_modules(radiocheck.sources.__path__):
        loaded = importlib.import_module(f"radiocheck.sources.{module.name}")
        if hasattr(loaded, "collect"):
            found[module.name] = loaded.collect
    return found


def probe(machine: Machine) -> Evidence:
    """The evidence of a live machine.  Reads only; a source that fails leaves a gap."""
    facts: dict[str, Any] = {}
    gaps: list[Gap] = []
    for name, collect in sources().items():
        try:
            seen = collect(machine)
        except Exception as error:  # a source's bug must not cost the rest of the evidence
            gaps.append(Gap(what=name, why="failed", detail=f"{type(error).__name__}: {error}"))
            continue
        facts.update(seen.facts)
        gaps.extend(seen.gaps)
    taken = Taken(at=machine.now(), tool=__version__, root=machine.euid == 0)
    return Evidence(radiocheck_evidence=FORMAT, taken=taken, gaps=gaps, **facts)
