"""How a deposit grows between visits: every growth that is thought possible, each with the odd
things that may have happened, filtered through the visits all at once.

The state of each is Gaussian: the deposit in levels, and the opening at a clean idle. What is
not Gaussian (rate, curve, opening per level, odd events) is a grid, so nothing is drawn by chance
and the same visits always give the same forecast.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.book.assumptions import Assumptions
from bellmouth.book.visits import Visit

__all__ = ["Filtered", "Grid", "Odd", "filtered", "grid_of", "odds_of"]

Floats = NDArray[np.float64]

_RATES = 61
_RATE_SDS = 3.5
# Three points that have the mean and variance of a normal distribution. [standard deviations]
_PLACES = (-1.2247449, 0.0, 1.2247449)


@dataclass(frozen=True)
class Grid:
    """Points that growth is thought out on, flat: rate varies slowest.

    ``log_rates`` [ln of levels per 1000 km] are the distinct rates; ``rate``, ``curve``,
    ``per_level`` [%] and ``scale`` (deposit that this car's findings read, over the true one) have
    one element a point; ``log_weight`` is the prior of all but the rate.
    """

    log_rates: Floats
    rate: Floats
    curve: Floats
    per_level: Floats
    scale: Floats
    log_weight: Floats

    def grown(self, since_km: float) -> Floats:
        """Mean deposit so far from the point that growth is counted from. [km] -> [levels]"""
        return np.asarray((self.rate * since_km / 1000.0) ** self.curve)


@dataclass(frozen=True)
class Odd:
    """Something that happened at a visit, or nothing (``visit`` None), and its prior."""

    what: str
    visit: int | None
    prior: float


@dataclass(frozen=True)
class Filtered:
    """What the visits leave of it: one row an `Odd`, one column a point of the grid.

    ``log_weight`` holds likelihood, odd's prior and the grid's own; ``mean`` and ``variance``
    are of the deposit in levels at the last visit, after any cleaning; ``steeper`` is by how much
    faster each row grows from now on; ``since_km`` where it is on its curve.
    """

    odds: tuple[Odd, ...]
    log_weight: Floats
    mean: Floats
    variance: Floats
    steeper: Floats
    since_km: float


def grid_of(assumed: Assumptions) -> Grid:
    """The grid over growths that are thought possible."""
    middle, spread = assumed.log_rate
    log_rates = middle + spread * np.linspace(-_RATE_SDS, _RATE_SDS, _RATES)
    curves = np.array(assumed.growth["curve"])
    reading, places = assumed.reading, np.array(_PLACES)
    per_level = reading["opening_per_level"] * np.exp(reading["opening_per_level_log_sd"] * places)
    scale = np.exp(reading["scale_log_sd"] * places)
    every = np.meshgrid(np.exp(log_rates), curves, per_level, scale, indexing="ij")
    curve_weight = np.log(np.array(assumed.growth["curve_weight"]))
    weight = curve_weight[:, None, None] + np.zeros((places.size, places.size))
    weight -= np.logaddexp.reduce(weight, axis=None)
    rate, curve, opening, read = (axis.ravel() for axis in every)
    weights = np.broadcast_to(weight, every[0].shape).ravel()
    return Grid(log_rates, rate, curve, opening, read, weights)


def odds_of(visits: Sequence[Visit], assumed: Assumptions) -> tuple[Odd, ...]:
    """Nothing odd, or one odd thing at one of the visits after the first."""
    kinds = [(name, float(assumed.odd[name])) for name in ("jump", "misread", "steeper")]
    odd = [
        Odd(name, place, chance)
        for place in range(1, len(visits))
        for name, chance in kinds
        if not visits[place - 1].cleaned or name == "misread"
    ]
    return (Odd("nothing", None, max(1.0 - sum(one.prior for one in odd), 0.1)), *odd)


class _State:
    """Mean and covariance of deposit [levels] and clean opening [%], one element a case."""

    def __init__(self, shape: tuple[int, int], assumed: Assumptions) -> None:
        mean, sd = assumed.start["unknown"]
        opening, opening_sd = assumed.reading["closed_pct"]
        self.u, self.o = np.full(shape, mean), np.full(shape, opening)
        self.uu, self.oo = np.full(shape, sd**2), np.full(shape, opening_sd**2)
        self.uo = np.zeros(shape)
        self.log_likelihood = np.zeros(shape)

    def grow(self, by: Floats, variance: Floats) -> None:
        self.u = self.u + by
        self.uu = self.uu + variance

    def clean(self, left: float, sd: float) -> None:
        self.u, self.uu = np.full_like(self.u, left), np.full_like(self.uu, sd**2)
        self.uo = np.zeros_like(self.uo)

    def read(self, value: float, variance: Floats, slope: Floats, offset: float) -> None:
        """Learn from ``value = slope * deposit + offset * clean opening``."""
        gain_u = slope * self.uu + offset * self.uo
        gain_o = slope * self.uo + offset * self.oo
        expected = slope * self.u + offset * self.o
        total = slope * gain_u + offset * gain_o + variance
        off = value - expected
        self.log_likelihood = self.log_likelihood - (off**2 / total + np.log(total)) / 2.0
        self.u, self.o = self.u + gain_u / total * off, self.o + gain_o / total * off
        self.uu, self.oo = self.uu - gain_u**2 / total, self.oo - gain_o**2 / total
        self.uo = self.uo - gain_u * gain_o / total


def filtered(
    visits: Sequence[Visit], level_mm2: float, grid: Grid, assumed: Assumptions
) -> Filtered:
    """Take every possible growth and odd event through the visits of one car. [mm²]"""
    odds = odds_of(visits, assumed)
    state = _State((len(odds), grid.rate.size), assumed)
    steeper = np.ones((len(odds), 1))
    since_km = float(assumed.growth["start_km"])
    for place, visit in enumerate(visits):
        if place:
            travelled = visit.km - visits[place - 1].km
            mean = grid.grown(since_km + travelled) - grid.grown(since_km)
            since_km += travelled
            steeper = _at(odds, "steeper", place, steeper, float(assumed.odd["steeper_by"]))
            grown = steeper * mean
            jumped = _at(odds, "jump", place, np.zeros_like(steeper), assumed.odd["jump_sd"] ** 2)
            state.grow(grown, assumed.growth["wander"] * grown + jumped)
        misread = _at(odds, "misread", place, np.zeros_like(steeper), 1.0)
        _read_visit(state, visit, level_mm2, grid, assumed, misread)
        if visit.cleaned:
            state.clean(*assumed.start["cleaned"])
            since_km, steeper = 0.0, np.ones_like(steeper)
    prior = np.log(np.array([[odd.prior] for odd in odds]))
    weight = state.log_likelihood + prior + grid.log_weight
    return Filtered(odds, weight, state.u, state.uu, steeper, since_km)


def _at(odds: Sequence[Odd], what: str, place: int, usual: Floats, odd: float) -> Floats:
    """``usual`` with ``odd`` in the rows where that happened at this visit."""
    rows = [[one.what == what and one.visit == place] for one in odds]
    return np.where(np.array(rows), odd, usual)


def _read_visit(
    state: _State,
    visit: Visit,
    level_mm2: float,
    grid: Grid,
    assumed: Assumptions,
    misread: Floats,
) -> None:
    wrong = misread * assumed.odd["misread_sd"] ** 2
    if visit.deposit is not None:
        value = visit.deposit.value / level_mm2
        own = (visit.deposit.standard_error / level_mm2) ** 2
        share = (assumed.reading["share"] * max(value, 0.0)) ** 2
        state.read(value, own + share + wrong, grid.scale, 0.0)
    if visit.opening is not None:
        own = visit.opening.standard_error**2 + assumed.reading["opening_pct"] ** 2
        state.read(visit.opening.value, own + wrong * grid.per_level**2, grid.per_level, 1.0)
