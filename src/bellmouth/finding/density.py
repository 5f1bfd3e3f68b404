"""The density that most likelihoods beside the model are put together from."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["normal"]

Floats = NDArray[np.float64]


def normal(x: Floats, sd: float) -> Floats:
    """Normal density of ``x`` about 0."""
    result: Floats = np.exp(-0.5 * (x / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
    return result
