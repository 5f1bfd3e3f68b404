"""Steps and spreads are the same in the unknowns' own dimension and in the readings'; where the
search begins."""

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.finding.case import prepare
from bellmouth.finding.effects import Effects
from bellmouth.finding.fitting import _as_when_good, leaning, step_of
from bellmouth.finding.pooled import Pools
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, stretches

Floats = NDArray[np.float64]


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


def _when_good(judged: tuple[Stretch, ...], references: list[tuple[Stretch, ...]]) -> Floats:
    """Where the search begins, the model's questions answered one at a time."""
    problem = prepare(judged, references, car()).problem
    healthy = Effects.none(1)
    asked = _as_when_good(problem.model, healthy, np.mean(problem.covariances[:-1], axis=0))
    try:
        questions = next(asked)
        while True:
            questions = asked.send(Pools().answers([problem.model] * len(questions), questions))
    except StopIteration as end:
        return np.asarray(end.value)


def test_the_search_begins_at_what_the_references_alone_say() -> None:
    good = stretches()
    clean, fouled = (_when_good(stretches(deposit_mm2=size), [good]) for size in (0.0, 40.0))
    shared = slice(0, 19)  # the rest is each recording's own
    assert clean[0, shared] == pytest.approx(fouled[0, shared], abs=0.05)
    assert np.abs(clean).max() > 0.3


def test_a_recording_that_stands_alone_begins_at_the_usual_car() -> None:
    assert not _when_good(stretches(deposit_mm2=40.0), []).any()
