"""Which reading is named where one does not fit the others."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.case import Case, solve
from bellmouth.finding.explain import evidence_of, warnings_of
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, stretches
from tests.finding.worked import healthy


def _twice() -> list[Stretch]:
    """Idle, 1,500 and 2,500 rpm, and once more."""
    made = stretches()
    again = [replace(s, start_s=s.start_s + 100.0, end_s=s.end_s + 100.0) for s in made]
    return [*made, *again]


def _odd(made: list[Stretch], place: int, name: str, by: float) -> list[Stretch]:
    readings = dict(made[place].readings)
    one = readings[name]
    moved = one.value + by if name.startswith("log_") else one.value * (1.0 + by)
    readings[name] = one._replace(value=moved)
    return [*made[:place], replace(made[place], readings=readings), *made[place + 1 :]]


def _named(case: Case) -> str:
    """The reading that fits a healthy car worst, in words."""
    posterior = dict.fromkeys(case.hypotheses.names, 0.0) | {"healthy": 1.0}
    said = [one for one in evidence_of(case, posterior) if " disagrees at " in one.what]
    return max(said, key=lambda one: abs(one.strength)).what


@pytest.mark.parametrize("place", range(6))
@pytest.mark.parametrize(
    ("name", "by", "told"),
    [
        ("log_total_trim_bank_1", 0.25, "total trim"),
        ("mass_air_flow", 0.25, "airflow by the meter against speed and pressure"),
    ],
)
def test_the_odd_one_is_named_wherever_it_stands(
    place: int, name: str, by: float, told: str
) -> None:
    made = _odd(_twice(), place, name, by)
    said = _named(solve(made, [], car()))
    assert said.startswith(told)
    assert f"({made[place].start_s:.0f}-{made[place].end_s:.0f} s)" in said


@pytest.mark.parametrize("place", range(3))
@pytest.mark.parametrize("in_reference", [False, True])
def test_the_recording_that_is_odd_is_the_one_that_is_doubted(
    place: int, in_reference: bool
) -> None:
    odd, good = _odd(list(stretches()), place, "log_total_trim_bank_1", 0.5), stretches()
    judged, reference = (good, odd) if in_reference else (odd, good)
    case = solve(judged, [reference], car())
    posterior = dict.fromkeys(case.names, 0.0) | {"unexplained": 0.9, "healthy": 0.1}
    said = warnings_of(case, posterior, healthy(), judged)
    assert ("The misfit lies in a reference: was the car really good then?" in said) is in_reference


def test_a_residual_is_measured_by_what_the_others_let_expect() -> None:
    """Against the textbook: mean and variance of one of a Gaussian's elements, the rest known."""
    case = solve(_odd(_twice(), 1, "mass_air_flow", 0.2), [], car())
    covariance = np.mean(case.covariances[:-1], axis=0)
    residual = case.posterior.residuals[0]
    for i in range(len(residual)):
        rest = np.arange(len(residual)) != i
        gain = np.linalg.solve(covariance[np.ix_(rest, rest)], covariance[rest, i])
        variance = covariance[i, i] - covariance[i, rest] @ gain
        expected = (residual[i] - residual[rest] @ gain) / np.sqrt(variance)
        assert case.posterior.standardised[0, i] == pytest.approx(expected, rel=1e-6, abs=1e-9)
