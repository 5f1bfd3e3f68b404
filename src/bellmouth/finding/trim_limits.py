"""A trim at its limit reads the limit, whatever more is asked: a bound, not a value."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["clamped", "slope_through"]

Floats = NDArray[np.float64]

_TRIM_SOFTNESS = 0.01


def clamped(predicted: Floats, reading: Floats, limit: Floats) -> Floats:
    """The trim that is read where one is predicted, (batch, points); ``limit`` (points,) is 1 at
    the upper limit, -1 at the lower, 0 between."""
    if not limit.any():
        return predicted
    # Where there is no airflow nothing is predicted, and nothing compared.
    there = (limit != 0) & np.isfinite(predicted)
    beyond = np.where(there, limit * (predicted - reading), 0.0)
    softened = _TRIM_SOFTNESS * np.logaddexp(0.0, beyond / _TRIM_SOFTNESS)
    return np.where(limit == 0, predicted, predicted - limit * softened)


def slope_through(predicted: Floats, reading: Floats, limit: Floats) -> Floats:
    """How much of a change of the predicted trim gets through to the reading: all, or little at a
    limit; (batch, points)."""
    beyond = np.clip(limit * (predicted - reading) / _TRIM_SOFTNESS, -50.0, 50.0)
    return np.where(limit == 0, 1.0, 1.0 / (1.0 + np.exp(beyond)))
