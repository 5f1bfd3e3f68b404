"""Means and medians without the usual calls' cost, which a recording that asks for many feels."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.series import Floats

__all__ = ["mean", "median", "medians"]


def mean(values: NDArray[Any]) -> float:
    """Mean of at least one number, or the share of what is true."""
    return float(np.add.reduce(values) / values.size)


def median(values: Floats | Sequence[float]) -> float:
    """Median as `numpy.median` gives it, of at least one number and none of them NaN."""
    return float(medians(np.asarray(values, dtype=np.float64)[None])[0])


def medians(rows: Floats) -> Floats:
    """Median of each row, as `numpy.median` gives it for numbers."""
    ordered = np.sort(rows, axis=1)
    half = rows.shape[1] // 2
    if rows.shape[1] % 2:
        return np.asarray(ordered[:, half])
    return np.asarray((ordered[:, half - 1] + ordered[:, half]) / 2.0)
