"""Plain text tables, aligned so that they can be read in a terminal and quoted in the docs."""

import math
from collections.abc import Sequence

__all__ = ["heading", "number", "table", "target"]


def number(value: float, digits: int = 2) -> str:
    """A figure, or a dash where there is none."""
    return "-" if math.isnan(value) else f"{value:.{digits}f}"


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Columns as wide as their widest cell; the first to the left, figures to the right."""
    lines = [list(header), *(list(row) for row in rows)]
    width = [max(len(line[i]) for line in lines) for i in range(len(header))]
    rule = ["-" * w for w in width]
    return "\n".join(_line(line, width) for line in [lines[0], rule, *lines[1:]])


def _line(cells: Sequence[str], width: Sequence[int]) -> str:
    first, *others = zip(cells, width, strict=True)
    text = [first[0].ljust(first[1])]
    text += [cell.rjust(w) if _figure(cell) else cell.ljust(w) for cell, w in others]
    return "  ".join(text).rstrip()


def _figure(cell: str) -> bool:
    return (bool(cell) and (cell[0].isdigit() or cell[0] in ".-+<>")) or not cell


def heading(text: str) -> str:
    """A line that stands over a table."""
    return f"\n{text}\n{'=' * len(text)}"


def target(what: str, value: float, bound: float, *, at_least: bool, digits: int = 3) -> str:
    """One line: a figure against what it must reach."""
    met = value >= bound if at_least else value <= bound
    word = "met" if met else "MISSED"
    if math.isnan(value):
        word = "no cases"
    sign = ">=" if at_least else "<="
    return f"{word:>8}  {what}: {number(value, digits)} (target {sign} {bound:g})"
