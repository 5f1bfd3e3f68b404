"""The names a column may carry: the standard's parameters, a few of our own, and what others call
them."""

import csv
import difflib
import functools
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

from bellmouth.j1979 import parameters

__all__ = ["Parameter", "called", "in_our_way", "nearest", "table"]

_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"})


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


def in_our_way(name: str) -> str:
    """A name in snake_case: ``Engine Speed`` is ``engine_speed``."""
    return re.sub(r"[\s-]+", "_", name.strip().lower())


def called(name: str) -> str | None:
    """Our name for what is also called so, ``time`` for the time; None where it is not known."""
    words = re.sub(r"[\s_,.-]+", "_", name.lower()).strip("_")
    return _also_called().get(words.translate(_UMLAUTS))


@functools.cache
def _also_called() -> Mapping[str, str]:
    text = resources.files(__package__).joinpath("also_called.toml").read_text("utf-8")
    return {other: ours for ours, others in tomllib.loads(text).items() for other in others}
