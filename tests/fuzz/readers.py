"""Coverage-guided fuzzing of the readers of pastes: `python -m tests.fuzz.readers FOLDER [-max_total_time=60 …]`.

The first argument is the folder that new inputs are kept in; the others go to libFuzzer.
Starts from the samples that the tests have.  Needs atheris.
"""

from __future__ import annotations

import sys
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["radiocheck.pastes"]):
    from tests.pastes.readers.test_all_readers import check, corpus


def one(data: bytes) -> None:
    """No reader raises, and what it says is of the text."""
    check(data)


def main() -> None:
    """Write the samples down, then fuzz."""
    if len(sys.argv) < 2:
        raise SystemExit(__doc__)
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for number, text in enumerate(corpus()):
        (folder / f"sample-{number}").write_bytes(text)
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
