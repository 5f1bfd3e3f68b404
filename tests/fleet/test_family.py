"""A family is learnt from cars of which some are faulty, nobody saying which."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from bellmouth.car.description import Known
from bellmouth.errors import FindingError
from bellmouth.finding.nuisance import LEARNED
from bellmouth.fleet.family import Example, Learned, learn_family
from bellmouth.fleet.studies import log_overlap
from tests.finding.garage import car, stretches


def _examples(count: int) -> list[Example]:
    """Cars of the garage: trims scatter by 1 %, every fourth has a fuel fault of 20 %."""
    rng = np.random.default_rng(3)
    found = []
    for number in range(count):
        fuel = float(np.exp(rng.normal(0.0, 0.01))) * (0.8 if number % 4 == 3 else 1.0)
        found.append(Example(f"van{number:02}", stretches(fuel=fuel), car(), f"van{number:02}"))
    return found


@cache
def _learned() -> Learned:
    return learn_family(_examples(16), "two litre")


def test_it_learns_the_engine_and_the_share_of_faulty_cars() -> None:
    family = _learned().family
    told = dict(zip(LEARNED, zip(family.mean, family.sd, strict=True), strict=True))
    # As the garage makes them: filling 0.6 at idle, the throttle reads 12 % at the stop.
    assert told["closed"][0] == pytest.approx(12.0, abs=2.5)
    assert told["closed"][1] < 2.5
    assert abs(told["fuel_level"][0]) < 0.02
    assert told["fill_level"][1] < 0.12
    assert 0.12 < family.shares["fuel_low"] < 0.4
    assert family.shares["leak"] < 0.08
    assert family.cars == family.recordings == 16
    assert family.habit.rpm is not None
    assert family.habit.rpm.value == 700.0
    assert family.habit.rpm.sd == pytest.approx(5.3, abs=0.5)
    assert sum(family.shares.values()) == pytest.approx(1.0)


def test_what_it_learns_is_surer_than_what_is_known_of_any_car() -> None:
    family = _learned().family
    assert np.linalg.eigvalsh(family.correlation).min() > 0
    few = learn_family(_examples(8), "two litre").family
    closed = LEARNED.index("closed")
    assert family.sd[closed] <= few.sd[closed] + 0.2


def test_few_cars_or_two_engines_are_refused() -> None:
    with pytest.raises(FindingError, match="3 cars to learn from, at least 8"):
        learn_family(_examples(3), "two litre")
    same = [replace(one, identity="van") for one in _examples(9)]
    with pytest.raises(FindingError, match="1 car to learn from"):
        learn_family(same, "two litre")
    other = replace(_examples(1)[0], identity="odd", car=replace(car(), displacement_l=Known(3.0)))
    with pytest.raises(FindingError, match="not of one engine"):
        learn_family([*_examples(8), other], "two litre")
    with pytest.raises(FindingError, match="no recording"):
        learn_family([], "two litre")


def test_the_overlap_is_the_mean_over_draws() -> None:
    rng = np.random.default_rng(1)
    root = rng.normal(size=(2, 2))
    covariance, mean = root @ root.T + 0.1 * np.eye(2), np.array([0.3, -0.2])
    precision, pull = np.array([[[1.5, 0.2], [0.2, 0.7]]]), np.array([[0.4, -0.3]])
    u = rng.multivariate_normal(mean, covariance, 400_000)
    mass = np.exp(u @ pull[0] - 0.5 * np.einsum("ni,ij,nj->n", u, precision[0], u))
    found = log_overlap(precision, pull, mean, covariance)[0]
    assert found == pytest.approx(float(np.log(mass.mean())), abs=0.01)
