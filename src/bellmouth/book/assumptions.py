"""What the forecast assumes, read once from ``forecast.toml``."""

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

__all__ = ["QUARTILE", "Assumptions", "load_assumptions"]

QUARTILE = 0.6744897501960817  # standard deviations from the median to a quartile


@dataclass(frozen=True)
class Assumptions:
    """The tables of ``forecast.toml`` by section; see the comments there for units."""

    level: dict[str, Any]
    growth: dict[str, Any]
    start: dict[str, Any]
    reading: dict[str, Any]
    odd: dict[str, Any]
    use: dict[str, Any]
    family_cars: int = 0  # of how many cars of its family the growth was learnt; 0 is the rule

    @property
    def log_rate(self) -> tuple[float, float]:
        """Median and spread of the logarithm of growth. [ln of levels per 1000 km]"""
        low, high = (math.log(km / 1000.0) for km in self.growth["km_to_level"])
        return -(low + high) / 2.0, (high - low) / 2.0 / QUARTILE

    @property
    def log_rate_sds(self) -> tuple[float, float]:
        """Spread of the logarithm of growth between kinds of car, and within a kind."""
        share, whole = self.growth["kind_share"], self.log_rate[1]
        return whole * math.sqrt(share), whole * math.sqrt(1.0 - share)


@cache
def load_assumptions() -> Assumptions:
    """The shipped assumptions."""
    text = files("bellmouth.book").joinpath("forecast.toml").read_text(encoding="utf-8")
    return Assumptions(**tomllib.loads(text))
