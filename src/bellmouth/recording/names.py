"""The names a column may carry: the standard's parameters and a few of our own."""

import csv
import difflib
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

from bellmouth.j1979 import parameters

__all__ = ["Parameter", "nearest", "table"]


@dataclass(frozen=True)
class Parameter:
    """One parameter: its unit, the range that can be expressed and its smallest step. [unit]"""

    name: str
    unit: str
    least: float
    most: float
    resolution: float


@functools.cache
def table() -> Mapping[str, Parameter]:
    """Every parameter by name: the standard's and those of ``extra_parameters.csv``."""
    found: dict[str, Parameter] = {}
    extra = resources.files(__package__).joinpath("extra_parameters.csv").read_text("utf-8")
    for row in csv.DictReader(extra.splitlines()):
        numbers = (float(row[key]) for key in ("min", "max", "resolution"))
        found[row["name"]] = Parameter(row["name"], row["unit"], *numbers)
    for name in parameters.names():
        known = parameters.by_name(name)
        found.setdefault(
            name, Parameter(name, known.unit, known.least, known.most, known.resolution)
        )
    return found


def nearest(name: str) -> str | None:
    """The right name closest to a wrong one, or None where nothing comes close."""
    close = difflib.get_close_matches(name, list(table()), n=1, cutoff=0.75)
    return close[0] if close else None
