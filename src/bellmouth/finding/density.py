"""The density that most likelihoods beside the model are put together from, and sums of such."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["log_sums", "normal"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def normal(x: Floats, sd: float) -> Floats:
    """Normal density of ``x`` about 0."""
    result: Floats = np.exp(-0.5 * (x / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    return result


def log_sums(which: Ints, log: Floats, count: int) -> Floats:
    """Logarithm of the sum of ``exp(log)`` over what belongs to each of ``count`` (``which``)."""
    highest = np.full(count, -np.inf)
    np.maximum.at(highest, which, log)
    highest = np.where(np.isfinite(highest), highest, 0.0)  # all impossible: so is the sum
    total = np.bincount(which, np.exp(log - highest[which]), count)
    with np.errstate(divide="ignore"):
        return np.asarray(highest + np.log(total))
