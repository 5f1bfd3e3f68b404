"""How far a car goes in a day, from its own odometer."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from bellmouth.book.assumptions import Assumptions

__all__ = ["Usage", "usage_of"]

Floats = NDArray[np.float64]

_DAYS_A_YEAR = 365.25
_LEAST_DAYS = 14  # a test drive between two visits of one week says nothing
_MONTH = 30.0
_UNEVEN = 0.5  # spread of the logarithm of one month's distance about the car's own


@dataclass(frozen=True)
class Usage:
    """Distance per day: median [km/day], spread of its logarithm, and days it was seen over."""

    km_per_day: float
    log_sd: float
    days: int

    def nodes(self) -> tuple[Floats, Floats]:
        """Distances per day and their weights, to average over. [km/day]"""
        places, weights = np.polynomial.hermite_e.hermegauss(9)
        return self.km_per_day * np.exp(self.log_sd * places), weights / weights.sum()


def usage_of(dated: Sequence[tuple[date, float]], assumed: Assumptions) -> Usage:
    """The car's own distance per day, leaning on what is usual where little was seen of it;
    ``dated`` are days and odometers, oldest first. [km]"""
    usual, spread = assumed.use["km_per_year"]
    middle, precision = math.log(usual / _DAYS_A_YEAR), 1.0 / spread**2
    days = 0
    if len(dated) > 1:
        days = (dated[-1][0] - dated[0][0]).days
        travelled = dated[-1][1] - dated[0][1]
        if days >= _LEAST_DAYS and travelled > 0:
            own = 1.0 / (_UNEVEN**2 * _MONTH / (days + _MONTH))
            middle = (middle * precision + math.log(travelled / days) * own) / (precision + own)
            precision += own
    spread = math.sqrt(1.0 / precision + float(assumed.use["change"]) ** 2)
    return Usage(math.exp(middle), spread, days)
