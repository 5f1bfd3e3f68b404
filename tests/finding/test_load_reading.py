"""The calculated load beside a reference: what it says about a false computation of air."""

from dataclasses import replace

import numpy as np
import pytest

from bellmouth.finding.case import Case, solve
from bellmouth.finding.priors import cause_weights
from bellmouth.finding.weights import hypothesis_weights, probability
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import car, reading, stretches

Made = tuple[Stretch, ...]


def _loaded(made: Made, factor: float, like: float = 1.0) -> Made:
    """The same with a calculated load that goes with air a turn, times a factor."""
    found = []
    for stretch in made:
        load = factor * like * 0.9 * stretch.value("intake_manifold_pressure")
        readings = {**stretch.readings, "calculated_load": reading(load, 0.1)}
        found.append(replace(stretch, readings=readings))
    return tuple(found)


def _probability(case: Case, cause: str) -> float:
    weights = hypothesis_weights(cause_weights("unknown"), case.hypotheses)
    return float(probability(case.log_evidence, weights, case.names)[case.names.index(cause)])


def _judged(load: float) -> Case:
    """A car that meters pressure and runs 12 % lean, beside itself when good."""
    good = _loaded(stretches(metering="pressure"), 1.0)
    return solve(_loaded(stretches(metering="pressure", fuel=0.88), load), [good], car("pressure"))


def test_a_load_that_fell_with_the_trims_rise_names_the_computation_not_the_fuel() -> None:
    """Not for certain: a false pressure, half of what may be false, leaves load over pressure."""
    case = _judged(0.88)
    assert _probability(case, "meter_low") > 0.75
    assert _probability(case, "fuel_low") < 0.25


def test_a_load_that_stayed_speaks_for_the_fuel_but_may_be_pressure_by_another_name() -> None:
    """Its ratio to pressure never moved, so the latter is likely and it says little."""
    case = _judged(1.0)
    assert 0.6 < _probability(case, "fuel_low") < 0.8
    assert _probability(case, "meter_low") > 0.2


def test_what_the_load_is_a_share_of_does_not_matter() -> None:
    """Only its change counts: twice the load on both days is the same car."""
    good = _loaded(stretches(metering="pressure"), 2.0)
    bad = _loaded(stretches(metering="pressure", fuel=0.88), 0.88, like=2.0)
    once, twice = _judged(0.88), solve(bad, [good], car("pressure"))
    assert twice.load.log_ratio == pytest.approx(once.load.log_ratio)


def test_without_a_reference_or_with_a_meter_the_load_says_nothing() -> None:
    alone = solve(_loaded(stretches(metering="pressure"), 0.5), [], car("pressure"))
    assert np.isnan(alone.load.log_ratio)
    good = _loaded(stretches(), 1.0)
    metered = solve(_loaded(stretches(), 0.5), [good], car())
    assert np.isnan(metered.load.log_ratio)


def test_a_load_that_no_meter_explains_is_only_a_stray_reading() -> None:
    """A load at half of what it was costs every cause alike, down to the stray share."""
    case = _judged(0.3)
    which = np.arange(case.hypotheses.count)
    values = case.load(which, case.hypotheses.low)
    assert values == pytest.approx(np.log(case.load.stray))


def test_a_load_that_keeps_its_ratio_to_pressure_is_pressure_by_another_name() -> None:
    """Then it says nothing of the computation; one that leaves the ratio as air does says more."""

    def follows(power: float) -> float:
        found = []
        for stretch in stretches(metering="pressure"):
            wide = stretch.value("intake_manifold_pressure") + (
                6.0 if stretch.kind == "held" else 0
            )
            load = 0.9 * wide**power
            changed = {
                "intake_manifold_pressure": reading(wide, 0.1),
                "calculated_load": reading(load, 0.1),
            }
            found.append(replace(stretch, readings={**stretch.readings, **changed}))
        return solve(found, [tuple(found)], car("pressure")).load.follows

    assert follows(1.0) < 0.5
    assert follows(1.3) > 0.9
