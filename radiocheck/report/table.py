"""Tables that fit: columns side by side where there is room, else one entry below the other."""

from __future__ import annotations

from collections.abc import Sequence

from .layout import Look, columns, cut, wrap

GAP = "  "
INDENT = 2
SHORTEST = 20  # columns of a first cell below which it is not cut to make a line fit
NARROW = 18  # columns of a last cell below which it is not wrapped


def table(head: Sequence[str], rows: Sequence[Sequence[str]], look: Look, left: Sequence[int] = (0,)) -> list[str]:
    """Lines of a table, set in by two; the columns in `left` are flush left, the others right.

    Where a line does not fit, a last column that is flush left is wrapped, or the first one is
    cut; else every row becomes its first cell with `head cell` words below it.
    """
    if not rows:
        return []
    wide = [max(columns(line[place]) for line in (head, *rows)) for place in range(len(head))]
    over = INDENT + sum(wide) + len(GAP) * (len(wide) - 1) - look.width
    if over > 0 and len(head) - 1 in left and wide[-1] - over >= NARROW:
        wide[-1] -= over
    elif over > 0 and wide[0] - over >= SHORTEST:
        wide[0] -= over
    elif over > 0:
        return _stacked(head, rows, look)
    rows = [[cut(row[0], wide[0], look.ascii), *row[1:]] for row in rows]
    first, *others = [line for row in (head, *rows) for line in _lines(row, wide, left)]
    return [look.paint(first, "quiet"), *others] if any(head) else others


def _lines(cells: Sequence[str], wide: Sequence[int], left: Sequence[int]) -> list[str]:
    """One row; its last cell may take several lines."""
    set_in = []
    for place, cell in enumerate(cells[:-1]):
        space = " " * (wide[place] - columns(cell))
        set_in.append(cell + space if place in left else space + cell)
    start = " " * INDENT + "".join(cell + GAP for cell in set_in)
    last = cells[-1]
    if len(cells) - 1 not in left:
        return [(start + " " * (wide[-1] - columns(last)) + last).rstrip()]
    if columns(last) <= wide[-1]:
        return [(start + last).rstrip()]
    return wrap(last, columns(start) + wide[-1], start)


def _stacked(head: Sequence[str], rows: Sequence[Sequence[str]], look: Look) -> list[str]:
    lines: list[str] = []
    for row in rows:
        cells = [f"{name} {cell}".strip() for name, cell in zip(head[1:], row[1:], strict=True) if cell]
        lines += wrap(row[0], look.width, "  ", "    ")
        lines += wrap("; ".join(cells), look.width, "    ")
    return lines
