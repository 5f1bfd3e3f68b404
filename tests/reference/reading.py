"""Reads the tables of published values beside these tests. Every cell stays text.

How each value is known, as the tests' comments tag it: S seen in print, L computed with a
general-purpose library, X computed by a second independent route, M from memory of the source.
"""

import csv
from pathlib import Path

__all__ = ["numbers", "rows"]

_TABLES = Path(__file__).parent / "tables"


def rows(name: str) -> list[dict[str, str]]:
    """Rows of one table by column; hexadecimal columns would not survive being read as numbers."""
    with (_TABLES / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def numbers(name: str) -> list[dict[str, float]]:
    """Rows of a table of numbers, columns of hexadecimal left out; an empty cell is NaN."""
    return [
        {key: float(cell or "nan") for key, cell in row.items() if not key.endswith("hex")}
        for row in rows(name)
    ]
