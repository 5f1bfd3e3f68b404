"""The one type that passes between the functions of this room."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Floats", "floats"]

Floats = NDArray[np.float64]


def floats(values: ArrayLike) -> Floats:
    """Values as an array of doubles, without copying one that is already."""
    return np.asarray(values, dtype=np.float64)
