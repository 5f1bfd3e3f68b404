"""A forecast quantity with the intervals that hold it one time in two and nine in ten."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

__all__ = ["DateSpan", "Span", "dated", "quantiles"]

Floats = NDArray[np.float64]

_LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True)
class Span:
    """Median, and the ends of the 50 % and 90 % intervals."""

    value: float
    low50: float
    high50: float
    low90: float
    high90: float

    def moved(self, by: float) -> "Span":
        """The same span from another zero."""
        return Span(*(getattr(self, name) + by for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class DateSpan:
    """The same of days."""

    value: date
    low50: date
    high50: date
    low90: date
    high90: date


def quantiles(places: Floats, share: Floats) -> Span:
    """A span from a cumulative share over places; ends that are not reached are the last place."""
    low90, low50, middle, high50, high90 = (
        float(np.interp(level, share, places)) if share[0] < level else float(places[0])
        for level in _LEVELS
    )
    return Span(middle, low50, high50, low90, high90)


def dated(on: date, days: Span) -> DateSpan:
    """A span of days after a day, as days."""
    names = Span.__dataclass_fields__
    return DateSpan(**{name: on + timedelta(days=round(getattr(days, name))) for name in names})
