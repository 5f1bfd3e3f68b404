"""When to inspect a car's throttle plate next, as a distance and a date, and how sure that is.

Deposit grows with distance at a rate that is the car's own, like those of its kind, and before
anything was seen like the trade's rule of thumb. It only ever says *inspect*: whether to clean is
for the person who looks.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from bellmouth.book.assumptions import Assumptions, load_assumptions
from bellmouth.book.growth import Filtered, Grid, filtered, grid_of
from bellmouth.book.kinds import log_prior_of_rate
from bellmouth.book.reasons import reasons_of
from bellmouth.book.spans import DateSpan, Span, dated, quantiles
from bellmouth.book.usage import Usage, usage_of
from bellmouth.book.visits import CarVisits, in_order
from bellmouth.errors import BookError

__all__ = ["Curve", "Forecast", "NotDirt", "forecast"]

Floats = NDArray[np.float64]

#: How far ahead is looked. [km]
FARTHEST_KM = 400_000.0
_STEP_KM = 2_000.0
_LEFT_OUT = 1e-3  # of all probability, in cases too small to be worth their time
_CURVE_POINTS = 25
_EDGES = 81
_DRAWN = 400


@dataclass(frozen=True)
class NotDirt:
    """A change that growth cannot make: before which odometer, how probable, what it was like.

    ``what`` is ``jump`` (it moved at once), ``misread`` (one reading stands apart) or ``steeper``
    (it has grown faster since).
    """

    what: str
    km: float
    probability: float


@dataclass(frozen=True)
class Curve:
    """Deposit from the last visit on, for the picture: odometers [km] and, at each, the deposit
    in mm² that 5, 25, 50, 75 and 95 % of the possible growths stay below."""

    km: tuple[float, ...]
    deposit_mm2: tuple[tuple[float, float, float, float, float], ...]


@dataclass(frozen=True)
class Forecast:
    """When to inspect next.

    Attributes
    ----------
    inspect_at_km
        The odometer at which the deposit is as likely to have reached the level as not. [km]
    inspect_on
        The day, None where no visit was dated.
    deposit_mm2
        The deposit now, that is after the last visit. [mm²]
    growth_mm2
        What is added in 10,000 km. [mm²]
    level_mm2
        The deposit at which a plate is worth a look. [mm²]
    reached
        Probability that it is reached already.
    not_dirt
        What the visits show that growth cannot make, None where nothing does.
    reasons
        Whole sentences, the most telling first.
    """

    name: str
    inspect_at_km: Span
    inspect_on: DateSpan | None
    deposit_mm2: Span
    growth_mm2: Span
    level_mm2: float
    reached: float
    usage: Usage
    not_dirt: NotDirt | None
    alike: int
    reasons: tuple[str, ...]
    car: CarVisits
    curve: Curve
    assumed: Assumptions


@dataclass(frozen=True)
class _Cases:
    """Every possible state now, flat: weights that sum to 1, state [levels], and its growth."""

    weight: Floats
    mean: Floats
    variance: Floats
    rate: Floats
    curve: Floats
    steeper: Floats
    since_km: float

    def grown(self, ahead_km: Floats) -> Floats:
        """Mean growth over each distance ahead: a row a distance, a column a case. [levels]"""
        ahead = ahead_km[:, None] + self.since_km
        now = (self.rate * self.since_km / 1000.0) ** self.curve
        return np.asarray(self.steeper * ((self.rate * ahead / 1000.0) ** self.curve - now))


def forecast(
    car: CarVisits, alike: Sequence[CarVisits] = (), *, assumed: Assumptions | None = None
) -> Forecast:
    """When to inspect a car next.

    Parameters
    ----------
    car
        The car's visits, at least one, oldest first.
    alike
        Other cars of its kind; what they show of growth is taken for likelier of this one.
    assumed
        What is assumed before; the shipped assumptions where it is not given.

    Raises
    ------
    BookError
        If there is no visit, or an odometer runs backwards.
    """
    if not car.visits:
        raise BookError(f"{car.name}: nothing was read yet from which to forecast.")
    assumed = assumed or load_assumptions()
    for one in (car, *alike):
        in_order(one.visits)
    grid = grid_of(assumed)
    found = filtered(car.visits, car.level_mm2, grid, assumed)
    others = [one for one in alike if one.visits]
    log_weight = found.log_weight + _spread_over(
        grid, log_prior_of_rate([filtered(o.visits, o.level_mm2, grid, assumed) for o in others],
                                grid, assumed),
    )  # fmt: skip
    weight = np.exp(log_weight - np.logaddexp.reduce(log_weight, axis=None))
    cases = _cases(found, grid, weight)
    return _told(car, found, weight, cases, usage_of(car.dated(), assumed), len(others), assumed)


def _spread_over(grid: Grid, by_rate: Floats) -> Floats:
    """One value a rate, as one value a point of the grid."""
    return np.repeat(by_rate, grid.rate.size // grid.log_rates.size)


def _cases(found: Filtered, grid: Grid, weight: Floats) -> _Cases:
    shape = weight.shape
    order = np.sort(weight, axis=None)
    kept = weight >= order[np.searchsorted(np.cumsum(order), _LEFT_OUT)]
    share = weight[kept] / weight[kept].sum()
    every = (grid.rate, grid.curve, found.steeper)
    rate, curve, steeper = (np.broadcast_to(one, shape)[kept] for one in every)
    mean, variance = found.mean[kept], np.maximum(found.variance[kept], 1e-9)
    return _Cases(share, mean, variance, rate, curve, steeper, found.since_km)


def _told(
    car: CarVisits,
    found: Filtered,
    weight: Floats,
    cases: _Cases,
    usage: Usage,
    alike: int,
    assumed: Assumptions,
) -> Forecast:
    ahead = np.arange(0.0, FARTHEST_KM + _STEP_KM, _STEP_KM)
    reached = _reached(cases, ahead, assumed)
    last = car.visits[-1]
    now = (_levels(cases, np.zeros(1), assumed)[0] * car.level_mm2).tolist()
    ten_thousand = cases.grown(np.array([10_000.0]))[0] * car.level_mm2
    distance = quantiles(ahead, reached)
    not_dirt = _not_dirt(car, found, weight, assumed)
    told = Forecast(
        name=car.name,
        inspect_at_km=distance.moved(last.km),
        inspect_on=_day(car, ahead, reached, usage),
        deposit_mm2=Span(now[2], now[1], now[3], now[0], now[4]),
        growth_mm2=_weighted(ten_thousand, cases.weight),
        level_mm2=car.level_mm2,
        reached=float(reached[0]),
        usage=usage,
        not_dirt=not_dirt,
        alike=alike,
        reasons=(),
        car=car,
        curve=_curve(car, cases, distance, assumed),
        assumed=assumed,
    )
    return replace(told, reasons=reasons_of(told))


def _fewer(cases: _Cases, count: int) -> _Cases:
    """So many cases of equal weight, spread evenly over all of them: enough for a picture."""
    order = np.lexsort((cases.mean, cases.rate))
    share = np.cumsum(cases.weight[order])
    picked = order[np.searchsorted(share, (np.arange(count) + 0.5) / count * share[-1])]
    return _Cases(
        np.full(count, 1.0 / count), cases.mean[picked], cases.variance[picked],
        cases.rate[picked], cases.curve[picked], cases.steeper[picked], cases.since_km,
    )  # fmt: skip


def _reached(cases: _Cases, ahead_km: Floats, assumed: Assumptions) -> Floats:
    """Probability that the level is reached within each distance ahead."""
    grown = cases.grown(ahead_km)
    spread = np.sqrt(cases.variance + assumed.growth["wander"] * grown)
    reached = ndtr((cases.mean + grown - 1.0) / spread) @ cases.weight
    # A deposit does not shrink by itself: what is reached stays so.
    return np.asarray(np.maximum.accumulate(reached))


def _levels(cases: _Cases, ahead_km: Floats, assumed: Assumptions) -> Floats:
    """5, 25, 50, 75 and 95 % points of the deposit at each distance ahead. [levels]"""
    grown = cases.grown(ahead_km)
    mean = cases.mean + grown
    spread = np.sqrt(cases.variance + assumed.growth["wander"] * grown)
    top = max(4.0, float((mean + 2.0 * spread).max()))
    # Fine where the level is, coarse where only the slimmest chances are.
    edges = np.concatenate([np.linspace(0.0, 2.0, _EDGES), np.geomspace(2.05, top, 20)])
    points = []
    for row, sd in zip(mean, spread, strict=True):
        below = ndtr((edges[:, None] - row) / sd) @ cases.weight
        points.append(np.interp((0.05, 0.25, 0.5, 0.75, 0.95), below, edges))
    return np.array(points)


def _weighted(values: Floats, weight: Floats) -> Span:
    order = np.argsort(values)
    share = np.cumsum(weight[order])
    low90, low50, middle, high50, high90 = np.interp(
        (0.05, 0.25, 0.5, 0.75, 0.95), share, values[order]
    ).tolist()
    return Span(middle, low50, high50, low90, high90)


def _day(car: CarVisits, ahead: Floats, reached: Floats, usage: Usage) -> DateSpan | None:
    """The day by distances per day that are possible, each with its weight, counted from when the
    odometer was last seen."""
    if not (dated_km := car.dated()):
        return None
    on, km = dated_km[-1]
    since_km = max(km - car.visits[-1].km, 0.0)
    days = np.arange(0.0, 36_525.0, 5.0)
    per_day, share = usage.nodes()
    whole = sum(
        weight * np.interp(since_km + days * rate, ahead, reached)
        for rate, weight in zip(per_day, share, strict=True)
    )
    return dated(on, quantiles(days, np.asarray(whole)))


def _not_dirt(
    car: CarVisits, found: Filtered, weight: Floats, assumed: Assumptions
) -> NotDirt | None:
    """The likeliest visit and kind of an odd thing, where one is likelier than not."""
    by_odd = weight.sum(axis=1)
    odd = sum(p for one, p in zip(found.odds, by_odd, strict=True) if one.visit is not None)
    if odd < assumed.odd["told_from"]:
        return None
    place = int(np.argmax(np.where([one.visit is None for one in found.odds], -1.0, by_odd)))
    one = found.odds[place]
    return NotDirt(one.what, car.visits[one.visit or 0].km, float(odd))


def _curve(car: CarVisits, cases: _Cases, distance: Span, assumed: Assumptions) -> Curve:
    ahead = np.linspace(0.0, min(1.15 * distance.high90 + 5000.0, FARTHEST_KM), _CURVE_POINTS)
    points = _levels(_fewer(cases, _DRAWN), ahead, assumed) * car.level_mm2
    last = car.visits[-1].km
    rows = [(a, b, c, d, e) for a, b, c, d, e in points.tolist()]
    return Curve(tuple((ahead + last).tolist()), tuple(rows))
