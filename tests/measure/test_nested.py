"""The finding's closed form against a nested sampler on the same posterior, on small cases.

``make bench`` does the same on twenty simulated cars with all their unknowns.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from bellmouth.car.description import Car, Known
from bellmouth.finding.case import Case, Prepared, prepare, solve_many
from bellmouth.finding.infer import log_likelihood
from bellmouth.finding.model_error import scale_weights
from bellmouth.recording.stretch import Kind, Reading, Stretch
from tests.finding.garage import car, reading, sides_of, stretches

pytest.importorskip("dynesty", reason="dynesty is a test extra")
from measure.nested import Agreement, Target, agreement

Floats = NDArray[np.float64]


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


def _small(idle_trim: float, held_trim: float) -> tuple[Prepared, Case]:
    """Airflow and trims alone, so that few unknowns matter and the sampler is quick."""
    judged = [
        _stretch("idle", 700.0, 2.2, idle_trim, 0.0),
        _stretch("held", 2500.0, 7.5, held_trim, 30.0),
    ]
    return _solved(prepare(judged, [], Car(Known(2.0), "airflow"), "small case"))


def _full() -> tuple[Prepared, Case]:
    """A car that meters pressure, beside a reference, with everything that bears on a finding
    without being Gaussian, and a reading that may count from the stop."""
    made: dict[str, tuple[Stretch, ...]] = {"off": (), "good": ()}
    for name, fuel in (("off", 0.9), ("good", 1.0)):
        for stretch in stretches(metering="pressure", fuel=fuel, deposit_mm2=3.0):
            more = {
                "calculated_load": reading(0.9 * stretch.value("intake_manifold_pressure"), 0.1),
                "ignition_timing_advance": reading(8.0, 0.5),
                "commanded_throttle_actuator": reading(
                    stretch.value("throttle_position") - 12.0, 0.1
                ),
            }
            told = replace(stretch, readings={**stretch.readings, **more})
            made[name] = (*made[name], told)
    resting = {
        "intake_manifold_pressure": reading(99.4, 0.3),
        "barometric_pressure": reading(100.0, 0.3),
        "throttle_position": reading(14.0, 0.1),
    }
    off = Stretch("engine off", 95.0, 99.0, resting, True, None)
    return _solved(prepare([*made["off"], off], [made["good"]], car("pressure")))


def _solved(prepared: Prepared) -> tuple[Prepared, Case]:
    return prepared, solve_many([prepared])[0]


def _agreement(prepared: Prepared, case: Case, hypothesis: str) -> Agreement:
    row = case.hypotheses.names.index(hypothesis)
    return agreement(prepared.problem, case.posterior, row, 1.0, live=200)


@pytest.mark.parametrize(
    ("hypothesis", "idle_trim", "held_trim"),
    [("healthy", 0.01, 0.0), ("leak", 0.22, 0.07), ("fuel_low", 0.16, 0.15)],
)
def test_evidence_and_mean_are_the_samplers(
    hypothesis: str, idle_trim: float, held_trim: float
) -> None:
    found = _agreement(*_small(idle_trim, held_trim), hypothesis)
    assert abs(found.evidence) < 0.2 + 2.5 * found.error
    if np.isfinite(found.means):
        assert found.means < 0.3


def test_everything_that_bears_on_a_finding_is_in_the_full_case() -> None:
    """Otherwise the next test would compare nothing with nothing."""
    _, case = _full()
    assert {"plate", "trim 1", "opening"} <= set(case.model.channels)
    row = np.array([case.hypotheses.names.index("leak+meter_low")])
    low, high = case.hypotheses.low[row], case.hypotheses.high[row]
    for side in (case.idle, case.plate, case.load):
        assert side(row, low)[0] != side(row, high)[0]
    assert np.isfinite(case.key_on.log_ratio)


@pytest.mark.parametrize("moved", [False, True])
@pytest.mark.parametrize("hypothesis", ["leak+fuel_low", "leak+meter_low", "deposit"])
@pytest.mark.parametrize("full", [False, True])
def test_the_samplers_likelihood_is_the_findings_exact_one(
    full: bool, hypothesis: str, moved: bool
) -> None:
    prepared, case = _full() if full else _small(0.2, 0.08)
    row = case.hypotheses.names.index(hypothesis)
    aim = Target(prepared.problem, case.posterior, row, moved=moved)
    rng = np.random.default_rng(5)
    point = aim.transform(rng.uniform(0.2, 0.8, aim.dimensions))
    coordinates = np.zeros((1, case.model.unknowns.size))
    unknowns = aim.unknowns(point)
    coordinates[0, aim.active] = unknowns
    where = np.full((1, 2), np.nan)
    where[0, : aim.sizes] = point[len(aim.active) :]
    weights = scale_weights(case.model, case.priors)
    exact = log_likelihood(
        case.model, case.hypotheses, row, case.covariances, weights, coordinates, where
    )[0]
    exact += sum(side(np.array([row]), where)[0] for side in sides_of(case))
    exact += _of_ratios(case, row, where[0])
    # Moved draws carry the ratio of the two densities of the unknowns.
    drawn = point[: len(aim.active)]
    ratio = 0.5 * (drawn @ drawn - unknowns @ unknowns) + aim.log_width
    assert aim.log(point) == pytest.approx(exact + ratio, abs=1e-4)


def _of_ratios(case: Case, row: int, where: Floats) -> float:
    """Log density of a size over an even one: a ratio's is even in its logarithm and less below
    worth, a leak's falls beyond what is common."""
    total = 0.0
    table = case.hypotheses
    ends = (table.low[row], table.high[row], table.worth[row], table.common[row])
    for low, high, worth, common, size in zip(*ends, where, strict=True):
        if np.isfinite(common):
            every = np.linspace(low, high, 20_001)
            density = np.exp(-np.maximum(every - common, 0.0) / 0.1)
            whole = np.trapezoid(density, every) / (high - low)
            total += float(np.log(np.interp(size, every, density) / whole))
        if np.isfinite(worth):
            every = np.linspace(low, high, 20_001)
            density = np.minimum(every / worth**2, 1.0 / every)
            whole = np.trapezoid(density, every) / (high - low)
            total += float(np.log(np.interp(size, every, density) / whole))
    return total


def test_a_wrong_evidence_would_be_seen() -> None:
    prepared, case = _small(0.16, 0.15)
    shifted = case.posterior.log_evidence.copy()
    shifted[case.hypotheses.names.index("fuel_low")] += 3.0
    wrong = replace(case, posterior=replace(case.posterior, log_evidence=shifted))
    found = _agreement(prepared, wrong, "fuel_low")
    assert abs(found.evidence) > 0.2 + 2.5 * found.error
