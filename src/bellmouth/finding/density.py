"""The density that most likelihoods beside the model are put together from, what lies below it, and
sums of such."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["log_sums", "normal", "normal_below"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def normal(x: Floats, sd: float) -> Floats:
    """Normal density of ``x`` about 0."""
    result: Floats = np.exp(-0.5 * (x / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    return result


def normal_below(z: Floats) -> Floats:
    """Standard normal distribution function. Abramowitz and Stegun 7.1.26 (from memory), good to
    2e-7; scipy's would be loaded by every finding for this alone."""
    x = np.clip(np.abs(z), 0.0, 9.0) / np.sqrt(2.0)
    t = 1.0 / (1.0 + 0.3275911 * x)
    terms = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)
    tail = np.polyval((*terms[::-1], 0.0), t) * np.exp(-x * x)
    return np.asarray(np.where(z >= 0, 1.0 - 0.5 * tail, 0.5 * tail))


def log_sums(which: Ints, log: Floats, count: int) -> Floats:
    """Logarithm of the sum of ``exp(log)`` over what belongs to each of ``count`` (``which``)."""
    highest = np.full(count, -np.inf)
    np.maximum.at(highest, which, log)
    highest = np.where(np.isfinite(highest), highest, 0.0)  # all impossible: so is the sum
    total = np.bincount(which, np.exp(log - highest[which]), count)
    with np.errstate(divide="ignore"):
        return np.asarray(highest + np.log(total))
