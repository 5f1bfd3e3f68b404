"""The finding's closed form against a nested sampler on the same posterior, on small cases.

``make bench`` does the same on twenty simulated cars with all their unknowns.
"""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.find import Case, solve
from bellmouth.finding.infer import log_likelihood
from bellmouth.finding.model_error import scale_weights
from bellmouth.recording.stretch import Kind, Reading, Stretch

pytest.importorskip("dynesty", reason="dynesty is a test extra")
from measure.nested import Target, agreement


def _reading(value: float, error: float) -> Reading:
    return Reading(value, error, 3 * error, 30, 9.0, 0.0)


def _stretch(kind: Kind, rpm: float, flow: float, trim: float, start: float) -> Stretch:
    readings = {
        "engine_speed": _reading(rpm, 2.0),
        "mass_air_flow": _reading(flow, 0.004 * flow),
        "log_total_trim_bank_1": _reading(trim, 0.004),
        "barometric_pressure": _reading(100.0, 0.3),
        "intake_air_temperature": _reading(30.0, 0.5),
    }
    return Stretch(kind, start, start + 25.0, readings, True, None)


def _case(idle_trim: float, held_trim: float) -> Case:
    """Airflow and trims alone, so that few unknowns matter and the sampler is quick."""
    judged = [
        _stretch("idle", 700.0, 2.2, idle_trim, 0.0),
        _stretch("held", 2500.0, 7.5, held_trim, 30.0),
    ]
    return solve(judged, [], Car(Known(2.0), "airflow"), "small case")


@pytest.mark.parametrize(
    ("hypothesis", "idle_trim", "held_trim"),
    [("healthy", 0.01, 0.0), ("leak", 0.22, 0.07), ("fuel_low", 0.16, 0.15)],
)
def test_evidence_and_mean_are_the_samplers(
    hypothesis: str, idle_trim: float, held_trim: float
) -> None:
    case = _case(idle_trim, held_trim)
    row = case.hypotheses.names.index(hypothesis)
    found = agreement("small", case, row, 1.0, live=60)
    assert abs(found.evidence) < 0.3 + 2.5 * found.error
    if np.isfinite(found.means):
        assert found.means < 0.5


@pytest.mark.parametrize("moved", [False, True])
def test_the_samplers_likelihood_is_the_findings_exact_one(moved: bool) -> None:
    case = _case(0.2, 0.08)
    row = case.hypotheses.names.index("leak+fuel_low")
    aim = Target(case, row, moved=moved)
    rng = np.random.default_rng(5)
    point = aim.transform(rng.uniform(0.2, 0.8, aim.dimensions))
    coordinates = np.zeros((1, case.model.unknowns.size))
    unknowns = aim.unknowns(point)
    coordinates[0, aim.active] = unknowns
    where = point[None, len(aim.active) :]
    weights = scale_weights(case.model, case.priors)
    gaussian = log_likelihood(
        case.model, case.hypotheses, row, case.covariances, weights, coordinates, where
    )[0]
    which = np.array([row])
    exact = gaussian + case.idle(which, where)[0] + case.plate(which, where)[0]
    # Moved draws carry the ratio of the two densities of the unknowns.
    drawn = point[: len(aim.active)]
    ratio = 0.5 * (drawn @ drawn - unknowns @ unknowns) + aim.log_width
    assert aim.log(point) == pytest.approx(exact + ratio)


def test_a_wrong_evidence_would_be_seen() -> None:
    case = _case(0.16, 0.15)
    row = case.hypotheses.names.index("fuel_low")
    shifted = case.posterior.log_evidence.copy()
    shifted[row] += 3.0
    wrong = replace(case, posterior=replace(case.posterior, log_evidence=shifted))
    found = agreement("small", wrong, row, 1.0, live=60)
    assert abs(found.evidence) > 0.3 + 2.5 * found.error
