"""Cells of a table's row, from probabilities that are known."""

import numpy as np

from measure.honesty import HEADS, cells


def test_cells_by_hand() -> None:
    probability = np.array([[0.6, 0.4], [0.3, 0.7], [0.95, 0.05], [0.95, 0.05]])
    told = dict(zip(HEADS, cells(probability, np.array([0, 0, 0, 1])), strict=True))
    assert told["right"] == "0.500"
    assert told["p(truth)"] == "0.475"  # (0.6 + 0.3 + 0.95 + 0.05) / 4
    assert told["Brier"] == "0.777"  # (0.32 + 0.98 + 0.005 + 1.805) / 4
    assert told["90 % set"] == "0.750"
    assert told["causes in it"] == "1.50"
