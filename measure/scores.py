"""How right a set of findings is, from probabilities and truths as arrays.

Everywhere ``probability`` has shape (cases, causes) with rows that sum to 1, and ``truth`` holds
the column of the true cause, shape (cases,).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "accuracy",
    "brier",
    "false_alarms",
    "mean_probability_on_truth",
    "merged_accuracy",
    "missed",
    "smallest_sets",
    "top",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]


def top(probability: Floats) -> Ints:
    """Column of the most probable cause of each case."""
    return np.asarray(np.argmax(probability, axis=1), dtype=np.intp)


def accuracy(probability: Floats, truth: Ints) -> float:
    """Share of cases whose most probable cause is the true one; NaN without cases."""
    return _mean(top(probability) == truth)


def merged_accuracy(probability: Floats, truth: Ints, alike: Sequence[int]) -> float:
    """The same, where naming one of the columns ``alike`` for another of them counts as right."""
    named = top(probability)
    both = np.isin(named, alike) & np.isin(truth, alike)
    return _mean((named == truth) | both)


def mean_probability_on_truth(probability: Floats, truth: Ints) -> float:
    """Mean of the probability that the true cause was given."""
    return _mean(probability[np.arange(len(truth)), truth])


def brier(probability: Floats, truth: Ints) -> float:
    """Brier's score over all causes: 0 is perfect, 2 is certain of a wrong one.

    Mean over cases of the sum over causes of (probability - [cause is true])² (G. W. Brier,
    Monthly Weather Review 78 (1950) 1-3; quoted from memory).
    """
    hit = np.zeros_like(probability)
    hit[np.arange(len(truth)), truth] = 1.0
    return _mean(((probability - hit) ** 2).sum(axis=1))


def smallest_sets(probability: Floats, truth: Ints, mass: float = 0.9) -> tuple[Bools, Ints]:
    """Whether the smallest set of causes that holds ``mass`` holds the truth, and its size."""
    order = np.argsort(-probability, axis=1, kind="stable")
    ordered = np.take_along_axis(probability, order, axis=1)
    # The set ends with the cause that carries it past the mass.
    before = np.cumsum(ordered, axis=1) - ordered
    inside = before < mass - 1e-12
    place = np.argmax(order == truth[:, None], axis=1)
    return inside[np.arange(len(truth)), place], inside.sum(axis=1)


def false_alarms(probability: Floats, truth: Ints, healthy: int, innocent: Sequence[int]) -> float:
    """Share of healthy cases with a fault on top above 50 %; ``innocent`` columns are no fault."""
    named = top(probability)
    alarm = ~np.isin(named, innocent) & (probability.max(axis=1) > 0.5)
    return _mean(alarm[truth == healthy])


def missed(probability: Floats, truth: Ints, healthy: int, faults: Sequence[int]) -> float:
    """Share of cases with one of ``faults`` that have healthy on top above 50 %."""
    calm = (top(probability) == healthy) & (probability[:, healthy] > 0.5)
    return _mean(calm[np.isin(truth, faults)])


def _mean(values: Floats | Bools) -> float:
    return float(np.mean(values)) if len(values) else float("nan")
