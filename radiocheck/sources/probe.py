"""Run every source once and put what they saw on one paper."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Collection
from typing import Any

import radiocheck.sources
from radiocheck import __version__
from radiocheck.evidence.record import FORMAT, Evidence, Gap, Taken

from .machine import Machine, Seen

Collect = Callable[[Machine], Seen]


def sources(only: Collection[str] | None = None) -> dict[str, Collect]:
    """All sources by name, or those that are named: the modules of this package that have a `collect`."""
    found: dict[str, Collect] = {}
    for module in pkgutil.iter_modules(radiocheck.sources.__path__):
        if only is not None and module.name not in only:
            continue
        loaded = importlib.import_module(f"radiocheck.sources.{module.name}")
        if hasattr(loaded, "collect"):
            found[module.name] = loaded.collect
    return found


def probe(machine: Machine, only: Collection[str] | None = None) -> Evidence:
    """The evidence of a live machine, from all sources or from those that are named.

    Reads only; a source that fails leaves a gap.
    """
    facts: dict[str, Any] = {}
    gaps: list[Gap] = []
    for name, collect in sources(only).items():
        try:
            seen = collect(machine)
        except Exception as error:  # a source's bug must not cost the rest of the evidence
            gaps.append(Gap(what=name, why="failed", detail=f"{type(error).__name__}: {error}"))
            continue
        facts.update(seen.facts)
        gaps.extend(seen.gaps)
    taken = Taken(at=machine.now(), tool=__version__, root=machine.euid == 0)
    return Evidence(radiocheck_evidence=FORMAT, taken=taken, gaps=gaps, **facts)
