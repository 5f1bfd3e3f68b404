"""Steps and spreads are the same in the unknowns' own dimension and in the readings'."""

import numpy as np
import pytest

from bellmouth.finding.fitting import leaning, step_of


@pytest.mark.parametrize("readings", [1, 6, 7, 8, 20])
def test_a_step_leads_to_the_least_of_a_straight_model(readings: int) -> None:
    rng = np.random.default_rng(1)
    slopes = rng.normal(size=(3, readings, 7))
    here, white = rng.normal(size=(3, 7)), rng.normal(size=(3, readings))
    there = here + step_of(white, slopes, here)
    for at, each in enumerate(slopes):
        left = white[at] + each @ (there[at] - here[at])
        # The gradient of |residuals|² + |coordinates|² vanishes.
        assert each.T @ left + there[at] == pytest.approx(np.zeros(7), abs=1e-9)


@pytest.mark.parametrize("readings", [1, 4, 5, 6, 20])
def test_sizes_take_the_unknowns_with_them(readings: int) -> None:
    """Against the information matrix of unknowns and sizes, written out."""
    slopes = np.random.default_rng(2).normal(size=(3, readings, 7))
    follow, left = leaning(slopes)
    for at, each in enumerate(slopes):
        information = each.T @ each + np.diag([1.0] * 5 + [0.0] * 2)
        inner, cross = information[:5, :5], information[:5, 5:]
        assert follow[at] == pytest.approx(-np.linalg.solve(inner, cross))
        expected = information[5:, 5:] - cross.T @ np.linalg.solve(inner, cross)
        assert left[at] == pytest.approx(expected, abs=1e-9)
