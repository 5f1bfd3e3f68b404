"""The smallest step a reading moves in, and what it leaves unknown of a mean."""

import numpy as np

from bellmouth.recording.names import table
from bellmouth.recording.series import Floats, Series

__all__ = ["quantisation_error", "quantum"]


def quantum(series: Series) -> float:
    """Smallest step between the values of a series, in its unit; 0 where none shows.

    A reading that never moved, or hardly, has the step that is its own, or that the standard gives
    it.
    """
    ordered = np.sort(series.value)
    steps = ordered[1:] - ordered[:-1]
    levels = 1 + int(np.count_nonzero(steps))
    known = series.step
    if known is None and series.name in table():
        known = table()[series.name].resolution
    if levels < 2:
        return known or 0.0
    steps = steps[steps > 1e-9 * max(1.0, abs(float(ordered[0])), abs(float(ordered[-1])))]
    least = float(steps.min()) if steps.size else 0.0
    if levels < 6 and known is not None and known > 0:
        return min(least, known) if least > 0 else known
    return least


def quantisation_error(step: Floats | float, variance: Floats) -> Floats:
    """Standard error that rounding to ``step`` leaves in a mean, however many samples.

    ``step / sqrt(12)`` where the reading never moved (GUM 4.3.7); noise dithers it away as
    ``exp(-2 pi^2 sigma^2 / step^2)``, the first harmonic of the rounding error's mean under
    Gaussian noise (Widrow and Kollar, Quantization Noise, 2008; cited from memory).

    Parameters
    ----------
    step
        The quantum; it and the variance broadcast. [unit]
    variance
        Of the rounded samples; a uniform rounding error's share is taken out. [unit squared]
    """
    known = np.asarray(step) > 0
    step = np.where(known, step, 1.0)
    true = np.maximum(variance - step * step / 12, 0.0)
    error = step / np.sqrt(12) * np.exp(-2 * np.pi**2 * true / step**2)
    return np.where(known, error, 0.0)
