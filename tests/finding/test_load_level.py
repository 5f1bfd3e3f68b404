"""The calculated load of one recording alone, and the air that an engine idles on."""

from dataclasses import replace

import numpy as np

from bellmouth.finding.case import Case, solve
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.weights import hypothesis_weights
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches

Made = tuple[Stretch, ...]


def _loaded(made: Made, log_share: float) -> Made:
    """The same with a calculated load that stands so over the manifold's share of 100 kPa."""
    found = []
    for stretch in made:
        load = np.exp(log_share) * stretch.value("intake_manifold_pressure")
        readings = {**stretch.readings, "calculated_load": reading(load, 0.1)}
        readings["barometric_pressure"] = reading(100.0, 0.3)
        found.append(replace(stretch, readings=readings))
    return tuple(found)


def _case(log_share: float) -> Case:
    """A car that meters pressure and runs 20 % lean."""
    return solve(_loaded(stretches(metering="pressure", fuel=0.8), log_share), (), car("pressure"))


def _meter_over_fuel(case: Case) -> float:
    names = case.hypotheses.names
    weights = hypothesis_weights(cause_weights("unknown"), case.hypotheses)
    logs = dict(zip(names, case.posterior.log_evidence, strict=True))
    odds = logs["meter_low"] - logs["fuel_low"]
    return float(odds + np.log(weights["meter_low"] / weights["fuel_low"]))


def test_a_low_load_speaks_for_the_computation_and_a_usual_one_for_the_fuel() -> None:
    low, usual = _meter_over_fuel(_case(-0.40 + np.log(0.8))), _meter_over_fuel(_case(-0.40))
    assert low > 0.0
    assert usual < low - 0.5


def test_a_load_that_is_the_pressure_says_nothing_of_the_meter() -> None:
    case = _case(0.0)
    which = np.arange(case.hypotheses.count)
    values = case.level(which, case.hypotheses.low)
    lows = [case.hypotheses.names.index(name) for name in ("healthy", "meter_low", "fuel_low")]
    assert np.ptp(values[lows]) < 0.1


def test_nothing_is_asked_beside_a_reference_or_of_an_airflow_meter() -> None:
    good = _loaded(stretches(metering="pressure"), -0.4)
    beside = solve(good, [good], car("pressure"))
    assert np.isnan(beside.level.log_over)
    metered = solve(_loaded(stretches(), -0.4), (), car())
    assert np.isnan(metered.level.log_over)
    assert metered.air is not None
    assert beside.air is None


def test_what_engines_idle_on_is_asked_of_a_meter() -> None:
    """A third of the usual air speaks for a meter that reads low, the usual air against one."""
    told = []
    for factor in (1.0, 0.33):
        made = tuple(
            replace(s, readings={**s.readings, "mass_air_flow": reading(factor * _air(s), 0.02)})
            for s in stretches()
        )
        case = solve(made, (), car())
        assert case.air is not None
        names = case.hypotheses.names
        low, healthy = np.array([names.index("meter_low")]), np.array([names.index("healthy")])
        size, none = np.array([[0.7, np.nan]]), np.full((1, 2), np.nan)
        told.append(float((case.air(low, size) - case.air(healthy, none))[0]))
    assert told[0] < -0.5
    assert told[1] > 1.0


def _air(stretch: Stretch) -> float:
    return stretch.value("mass_air_flow")
