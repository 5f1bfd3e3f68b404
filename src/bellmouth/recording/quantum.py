"""The smallest step a reading moves in, and what it leaves unknown of a mean."""

import numpy as np

from bellmouth.recording.names import table
from bellmouth.recording.series import Floats, Series

__all__ = ["quantisation_error", "quantum"]


# With this share of its samples on the standard's steps, give or take so much of one, a reading
# moves in those, and what lies between was made of them: by a mean, or a straight line from one to
# the next. By chance it is a fifth of that. A finer reading has few places between two steps. Ours.
_ON_STEPS, _NEARLY_ALL, _NEAR, _FINER = 0.2, 0.8, 0.02, 5
# Levels that all lie a multiple of a coarser step apart are chance in at most so many cases; a step
# is at most so much of what it reads. Ours.
_CHANCE, _COARSEST = 0.03, 0.25


def quantum(series: Series) -> float:
    """Smallest step between the values of a series, in its unit; 0 where none shows.

    A reading that never moved, or hardly, has the step that is its own, or that the standard gives
    it. A step of its own is never undercut, and the standard's not by values that somebody put
    between readings.
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
    if known is None or known <= 0:
        return least
    if least >= known:
        return least if levels >= 6 or _is_coarse(ordered, steps, known) else known
    if levels < 6 and least > 0 and series.step is None:
        return least
    return known if series.step is not None or least == 0 or _between(ordered, known) else least


def _is_coarse(ordered: Floats, steps: Floats, known: float) -> bool:
    """Whether few levels lie so that no finer step is likely."""
    least = float(steps.min())
    multiples = steps / least
    fits = bool(np.all(np.abs(multiples - np.rint(multiples)) < _NEAR))
    small = least <= _COARSEST * max(abs(float(ordered[0])), abs(float(ordered[-1])))
    return fits and small and (known / least) ** (steps.size - 1) <= _CHANCE


def _between(values: Floats, known: float) -> bool:
    """Whether what lies off the known steps was put between them."""
    off = np.abs(values / known - np.rint(values / known))
    share = float(np.mean(off < _NEAR))
    if not _ON_STEPS <= share < _NEARLY_ALL:
        return share >= _NEARLY_ALL
    places = np.unique(np.round(off[off >= _NEAR] / _NEAR))
    return places.size > _FINER


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
