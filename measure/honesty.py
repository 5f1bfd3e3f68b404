"""How right and how honest a set of findings is, as cells of a table's row."""

import numpy as np

from measure import scores
from measure.reliability import reliability
from measure.scores import Floats, Ints
from measure.tables import number

__all__ = ["HEADS", "cells"]

HEADS = ("right", "p(truth)", "Brier", "calibration (bound)", "90 % set", "causes in it")


def cells(probability: Floats, truth: Ints) -> list[str]:
    """What stands under `HEADS`; arrays as in `scores`."""
    honest = reliability(probability.max(axis=1), scores.top(probability) == truth)
    holds, size = scores.smallest_sets(probability, truth)
    return [
        number(scores.accuracy(probability, truth), 3),
        number(scores.mean_probability_on_truth(probability, truth), 3),
        number(scores.brier(probability, truth), 3),
        f"{number(honest.error, 3)} ({number(honest.bound, 3)})",
        number(float(np.mean(holds)), 3),
        number(float(np.mean(size)), 2),
    ]
