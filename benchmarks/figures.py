"""How figures are taken together and told."""

from __future__ import annotations

import os
import platform
import statistics
from collections.abc import Sequence
from typing import NamedTuple


class Target(NamedTuple):
    """A ratio that was measured, and the largest one that is claimed."""

    what: str
    ratio: float
    limit: float

    @property
    def met(self) -> bool:
        """Whether the claim holds in this run."""
        return self.ratio <= self.limit


def machine() -> str:
    """The machine line that stands above the figures."""
    load = os.getloadavg()[0]
    return (
        f"{os.cpu_count()} cores ({platform.machine()}), load {load:.1f}, Linux {platform.release()}, "
        f"{platform.python_implementation()} {platform.python_version()}"
    )


def told(values: Sequence[float], unit: str = "ms") -> str:
    """Median, quartiles and number of the values."""
    if len(values) < 2:
        return f"{values[0]:9.2f} {unit} (once)"
    low, middle, high = statistics.quantiles(values, n=4, method="inclusive")
    return f"{middle:9.2f} {unit} (quartiles {low:.2f} to {high:.2f}, {len(values)} runs)"


def show(target: Target) -> None:
    """The line of a claim."""
    word = "met" if target.met else "MISSED"
    print(f"  ratio {target.ratio:.2f}, target at most {target.limit:g}: {word}  ({target.what})")
