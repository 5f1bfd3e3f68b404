"""What the other cars of a kind say about how quickly this one gets dirty."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bellmouth.book.assumptions import Assumptions
from bellmouth.book.growth import Filtered, Grid

__all__ = ["kind_of", "log_prior_of_rate"]

Floats = NDArray[np.float64]


def log_prior_of_rate(others: Sequence[Filtered], grid: Grid, assumed: Assumptions) -> Floats:
    """Logarithm of the weight of each of the grid's rates before the car itself is looked at.

    The kind's middle rate and how far its cars lie apart are unknown, too; both are averaged
    over, weighted by how well they suit the other cars.
    """
    kind, scales = kind_of(others, grid, assumed)
    prior = np.tensordot(kind, _of_a_car(grid.log_rates, scales), axes=2)
    return np.asarray(np.log(np.maximum(prior, 1e-300)))


def kind_of(others: Sequence[Filtered], grid: Grid, assumed: Assumptions) -> tuple[Floats, Floats]:
    """Weight of each middle rate of the kind and each spread within it, (rates, spreads), and
    those spreads of the logarithm of the rate."""
    rates = grid.log_rates
    middle, _ = assumed.log_rate
    between, within = assumed.log_rate_sds
    scales = within * np.array(assumed.growth["within_scale"])
    of_a_car = _of_a_car(rates, scales)
    log_kind = np.repeat(-(((rates - middle) / between) ** 2)[:, None] / 2.0, scales.size, axis=1)
    for other in others:
        likelihood = _of_rate(other, rates.size)
        log_kind = log_kind + np.log(of_a_car @ np.exp(likelihood - likelihood.max()))
    kind = np.exp(log_kind - log_kind.max())
    return np.asarray(kind / kind.sum()), scales


def _of_a_car(rates: Floats, scales: Floats) -> Floats:
    """Weight of a car's rate by the kind's middle and the spread within it, in this order of
    axes: middle, spread, rate."""
    away = (rates[None, None, :] - rates[:, None, None]) / scales[None, :, None]
    weight = np.exp(-(away**2) / 2.0)
    return np.asarray(weight / weight.sum(axis=-1, keepdims=True))


def _of_rate(found: Filtered, rates: int) -> Floats:
    """Log likelihood of each rate, everything else averaged over."""
    whole = np.logaddexp.reduce(found.log_weight, axis=0)
    return np.asarray(np.logaddexp.reduce(whole.reshape(rates, -1), axis=1))
