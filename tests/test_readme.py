"""The README shows what the program prints, and names what exists."""

from __future__ import annotations

import re

from .readme_output import README, ROOT, renewed


def test_output_is_current() -> None:
    """Output in the README is that of shipped evidence, a paste and the invented house (`make readme` renews it)."""
    text = README.read_text()
    assert renewed(text) == text


def test_links_lead_somewhere() -> None:
    """Every relative link of README and DEVELOPERS exists."""
    for file in (README, ROOT / "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#:]+)\)", file.read_text()):
            assert (ROOT / target).exists(), target
