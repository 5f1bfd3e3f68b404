"""How far readings of one thing lie apart: the same person again, and another person.

One-way analysis of variance within things (a car as it stood at one visit), pooled over them;
*repeatability* and *reproducibility* as ISO 5725-1 has them (from memory). Intervals are
generalised confidence intervals (Weerahandi 1993, from memory): exact for the repeat spread.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

__all__ = ["Between", "Spread", "spread_of"]

_TAIL = 0.05
_QUANTILES = (np.arange(300) + 0.5) / 300
#: Two readings differ by less than so many standard deviations of one, 19 times in 20.
_APART = 1.96 * np.sqrt(2.0)

Thing = Mapping[str, Sequence[float]]


@dataclass(frozen=True)
class Between:
    """A standard deviation with its nine-in-ten interval, in the readings' unit."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Spread:
    """What the readings say.

    Attributes
    ----------
    things, persons, readings
        How many of each it rests on.
    again
        Standard deviation of the same person's readings; None where nobody read twice.
    other
        Standard deviation that another person adds; None where no thing was read by two.
    differ
        Two readings of one thing by two persons differ by less, 19 times in 20.
    """

    things: int
    persons: int
    readings: int
    again: Between | None
    other: Between | None
    differ: float | None


def spread_of(things: Sequence[Thing]) -> Spread:
    """Spread of readings, each thing's by person.

    Parameters
    ----------
    things
        For each thing, the readings that each person made of it.
    """
    kept = [{who: list(map(float, ys)) for who, ys in one.items() if ys} for one in things]
    within, df_within = _within(kept)
    between, df_between, per = _between(kept)
    again = other = None
    if df_within:
        mean_square = within / df_within
        low, high = chi2.ppf([_TAIL, 1.0 - _TAIL], df_within)
        again = Between(*np.sqrt([mean_square, within / high, within / low]).tolist())
    if df_within and df_between:
        other = _added(within, df_within, between, df_between, per)
    differ = None
    if again is not None and other is not None:
        differ = float(_APART * np.hypot(again.value, other.value))
    return Spread(
        things=len([one for one in kept if one]),
        persons=len({who for one in kept for who in one}),
        readings=sum(len(ys) for one in kept for ys in one.values()),
        again=again,
        other=other,
        differ=differ,
    )


def _within(things: Sequence[Thing]) -> tuple[float, int]:
    """Sum of squares about each person's own mean, and its degrees of freedom."""
    cells = [np.asarray(ys) for one in things for ys in one.values()]
    total = float(sum(((ys - ys.mean()) ** 2).sum() for ys in cells))
    return total, sum(ys.size - 1 for ys in cells)


def _between(things: Sequence[Thing]) -> tuple[float, int, float]:
    """Sum of squares of persons about each thing's mean, degrees of freedom, readings a person."""
    total, freedom, weight = 0.0, 0, 0.0
    for one in things:
        if len(one) < 2:
            continue
        sizes = np.array([len(ys) for ys in one.values()], dtype=float)
        means = np.array([np.mean(ys) for ys in one.values()])
        middle = (sizes * means).sum() / sizes.sum()
        total += float((sizes * (means - middle) ** 2).sum())
        freedom += len(one) - 1
        weight += float(sizes.sum() - (sizes**2).sum() / sizes.sum())
    return total, freedom, weight / freedom if freedom else 1.0


def _added(within: float, df_within: int, between: float, df_between: int, per: float) -> Between:
    def positive(variance: float) -> float:
        return float(np.sqrt(max(variance, 0.0)))

    best = (between / df_between - within / df_within) / per
    # Every pair of a between and a within quantile is as likely as every other.
    b = between / chi2.ppf(_QUANTILES, df_between)
    w = within / chi2.ppf(_QUANTILES, df_within)
    likely = np.maximum(b[:, None] - w[None, :], 0.0) / per
    low, high = np.quantile(likely, [_TAIL, 1.0 - _TAIL])
    return Between(positive(best), positive(low), positive(high))
