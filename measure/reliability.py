"""Are findings at 80 % right four times in five? A reliability table, the band that a perfectly
calibrated tool would stay in, and the calibration error beside its own 95 % bound."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Bin", "Reliability", "calibration_error", "reliability"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_DRAWS = 4000


@dataclass(frozen=True)
class Bin:
    """One bin of predicted probability.

    ``band_low`` and ``band_high`` hold the observed share nineteen times in twenty when every
    prediction is exactly right.
    """

    low: float
    high: float
    cases: int
    predicted: float
    observed: float
    band_low: float
    band_high: float

    @property
    def inside(self) -> bool:
        """Whether the observed share is within the band."""
        return self.band_low - 1e-12 <= self.observed <= self.band_high + 1e-12


@dataclass(frozen=True)
class Reliability:
    """The table, the expected calibration error over its bins, and what a perfectly calibrated
    tool stays below nineteen times in twenty on exactly these predictions."""

    bins: tuple[Bin, ...]
    error: float
    bound: float


def reliability(confidence: Floats, right: Bools, bins: int = 10, seed: int = 1) -> Reliability:
    """Compare predicted probabilities with how often they came true.

    Parameters
    ----------
    confidence
        Predicted probabilities, from 0 to 1, shape (predictions,).
    right
        Whether each came true.
    bins
        How many of equal width; empty ones are left out.
    seed
        Of the simulated perfectly calibrated tool.
    """
    place = np.minimum((confidence * bins).astype(np.intp), bins - 1)
    rng = np.random.default_rng(seed)
    drawn = rng.random((_DRAWS, len(confidence))) < confidence
    rows = []
    for b in range(bins):
        mine = place == b
        if not mine.any():
            continue
        shares = drawn[:, mine].mean(axis=1)
        low, high = np.quantile(shares, [0.025, 0.975])
        rows.append(
            Bin(
                low=b / bins,
                high=(b + 1) / bins,
                cases=int(mine.sum()),
                predicted=float(confidence[mine].mean()),
                observed=float(right[mine].mean()),
                band_low=float(low),
                band_high=float(high),
            )
        )
    errors = np.array([calibration_error(confidence, draw, bins) for draw in drawn[:1000]])
    bound = float(np.quantile(errors, 0.95)) if len(confidence) else float("nan")
    return Reliability(tuple(rows), calibration_error(confidence, right, bins), bound)


def calibration_error(confidence: Floats, right: Bools, bins: int = 10) -> float:
    """Mean over predictions of |observed - predicted| of their bin (bins of equal width)."""
    if not len(confidence):
        return float("nan")
    place = np.minimum((confidence * bins).astype(np.intp), bins - 1)
    gap = np.bincount(place, weights=right - confidence, minlength=bins)
    return float(np.abs(gap).sum() / len(confidence))
