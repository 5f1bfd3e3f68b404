"""What many recordings say together: a family is found in them and keeps within its bounds."""

from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bellmouth.finding.nuisance import LEARNED
from bellmouth.fleet.crowd import Crowd, State, begin, converge, crowd_of
from bellmouth.fleet.studies import Study, log_overlap

Floats = NDArray[np.float64]
SIZE = len(LEARNED)
WIDE = np.array([np.full(SIZE, -3.0), np.full(SIZE, 3.0)])


def study(seen: Floats, precision: Floats) -> Study:
    """A car seen at ``seen`` with ``precision`` (coordinates,), nothing wrong with it."""
    hypotheses: Any = SimpleNamespace(names=("healthy",), causes=(("healthy",),), count=1)
    matrix, pull = np.diag(precision)[None], (precision * seen)[None]
    overlap = log_overlap(matrix, pull, np.zeros(SIZE), np.eye(SIZE))
    return Study(hypotheses, overlap, -1e3, overlap, matrix, pull, SimpleNamespace())  # type: ignore[arg-type]


def _learnt(seen: Floats, precision: Floats, bounds: Floats = WIDE) -> tuple[Crowd, State]:
    crowd = crowd_of([study(one, precision) for one in seen], [str(n) for n in range(len(seen))])
    state = begin(SIZE)
    any_car = crowd.whole(crowd.log_evidence, state.shares)
    return crowd, converge(crowd, state, any_car, bounds)


def _cars(count: int, precision: float) -> Floats:
    rng = np.random.default_rng(2)
    own = rng.normal(0.5, 0.2, (count, SIZE))
    return np.asarray(own + rng.normal(0.0, precision**-0.5, own.shape))


def test_mean_and_spread_of_the_cars_come_back() -> None:
    _, state = _learnt(_cars(200, 25.0), np.full(SIZE, 25.0))
    # Standard errors of 200 cars: 0.02 of the mean, about 0.02 of the spread.
    np.testing.assert_allclose(state.mean, 0.5, atol=0.08)
    np.testing.assert_allclose(np.sqrt(np.diag(state.covariance)), 0.2, atol=0.07)


def test_what_no_recording_tells_stays_between_nothing_and_any_car() -> None:
    precision = np.full(SIZE, 25.0)
    precision[3] = 1e-9
    _, state = _learnt(_cars(40, 25.0), precision)
    assert 0.35 < np.sqrt(state.covariance[3, 3]) <= 1.0
    assert np.linalg.eigvalsh(state.covariance).max() <= 1.0 + 1e-9


def test_a_mean_keeps_within_its_bounds() -> None:
    bounds = WIDE.copy()
    bounds[1, 2] = 0.3
    _, state = _learnt(_cars(40, 25.0), np.full(SIZE, 25.0), bounds)
    assert state.mean[2] == 0.3
    assert state.mean[1] > 0.35


def test_a_stranger_hardly_moves_the_family() -> None:
    cars = _cars(40, 25.0)
    _, without = _learnt(cars, np.full(SIZE, 25.0))
    cars[0] = -2.0
    _, state = _learnt(cars, np.full(SIZE, 25.0))
    np.testing.assert_allclose(state.mean, without.mean, atol=0.1)
