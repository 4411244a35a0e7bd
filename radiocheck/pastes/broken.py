"""Lines that a terminal, a pager or a person broke: cut off, or going on in the next line."""

from __future__ import annotations

import re

# less -S and the journal's pager end a cut line with `>`, systemctl with an ellipsis, people with dots.
_CUT = re.compile(r"(?:>|\.\.\.|\.{4,10}|\u2026|\[snip\]|\\)$")
_LEFT_OUT = re.compile(
    r"^\W*(?:\.{2,20}|\[?\(?(?:snip|snipped|cut|gek\u00fcrzt|truncated|omitted|\.\.\.)\)?\]?)\W*$", re.IGNORECASE
)


def is_cut(text: str) -> bool:
    """Whether the end of a line is missing, by the mark that stands in its place."""
    return _CUT.search(text[-12:].rstrip()) is not None


def left_out(text: str) -> bool:
    """Whether a line only says that others were left out: `...`, `[...]`, `<snip>`."""
    return len(text) < 60 and _LEFT_OUT.match(text) is not None


def balanced(text: str) -> bool:
    """Whether quotes, braces and brackets of a command line are all closed."""
    return (
        text.count('"') % 2 == 0
        and text.count("'") % 2 == 0
        and text.count("{") == text.count("}")
        and text.count("[") == text.count("]")
    )
