"""`python -m benchmarks [--check] [NAME…]`: measure all claims, or the named ones.

The exit status is 0 whatever the figures are; with `--check` it is 1 when a target is missed.
"""

from __future__ import annotations

import importlib
import sys

NAMES = ("help", "judge", "join", "parse", "radio", "memory", "many", "check")


def main(arguments: list[str]) -> int:
    """Run the benchmarks that are asked for."""
    strict = "--check" in arguments
    names = [argument for argument in arguments if argument != "--check"] or list(NAMES)
    if unknown := [name for name in names if name not in NAMES]:
        print(f"no benchmark is called {', '.join(unknown)}; there are {', '.join(NAMES)}", file=sys.stderr)
        return 2
    missed = 0
    for name in names:
        module = importlib.import_module(f"{__package__}.{name}")
        print(f"\n== {name}: {(module.__doc__ or '').splitlines()[0]}")
        missed += sum(not target.met for target in module.main())
    return 1 if strict and missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
