"""Air that is computed falsely because the manifold pressure reads false, and what else is then."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellmouth.car.description import Metering
from bellmouth.finding.case import Case, solve
from bellmouth.finding.checks import next_checks
from bellmouth.finding.marginals import Mixed, marginals, of_mixed
from bellmouth.finding.priors import cause_weights, load_priors
from bellmouth.finding.weights import hypothesis_weights, probability
from bellmouth.recording.stretch import Stretch
from tests.finding.garage import AMBIENT_KPA, car, reading, stretches
from tests.finding.test_checks import posterior_of

WAYS = Mixed(1, ((0.4, -1.0, 0.0), (0.6, 1.0, 0.2)))
#: A sensor 20 % off: filling rises with pressure, so that the air computed from it is off by more.
FALSE = [(1.2, 1.25, "meter_high"), (0.8, 0.77, "meter_low")]


def _probability(case: Case, cause: str) -> float:
    weights = hypothesis_weights(cause_weights("unknown"), case.hypotheses)
    return float(probability(case.log_evidence, weights, case.names)[case.names.index(cause)])


def _key_on(pressure: float) -> Stretch:
    """Ten seconds of key on with the engine off, a barometer of its own beside the sensor."""
    read = {
        "engine_speed": reading(0.0, 1.0),
        "intake_manifold_pressure": reading(AMBIENT_KPA * pressure, 0.15),
        "barometric_pressure": reading(AMBIENT_KPA, 0.29),
    }
    return Stretch("engine off", 0.0, 10.0, read, False, None)


@pytest.mark.parametrize(("pressure", "computed", "cause"), FALSE)
def test_beside_a_reference_a_false_pressure_sensor_is_a_false_computation_of_air(
    pressure: float, computed: float, cause: str
) -> None:
    """Plate and filling law then disagree with the pressure that is read, and only a pressure that
    is not what is read explains it: two faults at once had."""
    judged = stretches(metering="pressure", pressure=pressure, meter=computed)
    case = solve(judged, [stretches(metering="pressure")], car("pressure"))
    assert _probability(case, cause) > 0.8


@pytest.mark.parametrize(("pressure", "computed", "cause"), FALSE)
def test_key_on_the_sensor_says_so_by_itself(pressure: float, computed: float, cause: str) -> None:
    judged = stretches(metering="pressure", pressure=pressure, meter=computed)
    silent = solve(judged, [], car("pressure"))
    told = solve([_key_on(pressure), *judged], [], car("pressure"))
    assert _probability(told, cause) > 0.8
    assert _probability(told, cause) > 1.3 * _probability(silent, cause)


def test_a_sensor_that_agrees_key_on_leaves_the_rest_of_the_computation() -> None:
    """Half of what may be false is then ruled out, no more."""
    judged = stretches(metering="pressure", meter=0.8)
    silent = solve(judged, [], car("pressure"))
    told = solve([_key_on(1.0), *judged], [], car("pressure"))
    which = np.array([told.hypotheses.names.index("meter_low")])
    size = np.array([[0.25, np.nan]])
    healthy = np.array([told.hypotheses.names.index("healthy")])
    lost = told.key_on(which, size) - told.key_on(healthy, np.full((1, 2), np.nan))
    shared = told.key_on.shared
    assert np.exp(lost) == pytest.approx(shared + (1.0 - shared) / 2.0, abs=0.02)
    assert _probability(told, "meter_low") > 0.5 * _probability(silent, "meter_low")


def test_a_car_that_meters_its_air_has_its_pressure_sensor_apart() -> None:
    """There a false meter leaves the pressure reading alone."""
    case = solve(stretches(meter=0.8), [], car())
    unknowns = case.model.unknowns
    assert unknowns.sd[unknowns.index("sensed")] == 0.0
    assert [way.part for way in case.key_on.ways] == [0.0]


@given(seed=st.integers(0, 2**16), readings=st.integers(1, 6))
def test_two_ways_are_integrated_as_one_by_one(seed: int, readings: int) -> None:
    """Each way is a normal unknown of another mean and spread, as `marginals` has them."""
    rng = np.random.default_rng(seed)
    offset, jacobian = rng.normal(size=(4, readings)), rng.normal(size=(2, readings, 3))
    blocks = [(np.array([1]), 0, 3), (np.array([0]), 3, 1)]
    covariances = np.stack([np.eye(readings), 2.0 * np.eye(readings)])
    row = np.array([1, 1, 1, 0])
    expected = np.zeros((2, 4))
    for share, mean, sd in WAYS.ways:
        scaled = jacobian * np.array([1.0, sd, 1.0])
        moved = offset + mean * jacobian[row][:, :, 1]
        expected += share * np.exp(marginals(moved, scaled, blocks, covariances))
    found = of_mixed(offset, jacobian, blocks, covariances, WAYS)
    assert found == pytest.approx(np.log(expected))
    assert of_mixed(offset, jacobian, blocks, covariances, None) == pytest.approx(
        marginals(offset, jacobian, blocks, covariances)
    )


def test_an_unknown_that_moves_nothing_is_of_one_kind() -> None:
    """What neither way moves costs nothing: no hypothesis without a false computation changes."""
    rng = np.random.default_rng(3)
    offset, jacobian = rng.normal(size=(5, 4)), rng.normal(size=(5, 4, 3))
    jacobian[:, :, 1] = 0.0
    every = [(np.arange(5), 0, 1)]
    covariance = np.eye(4)[None]
    assert of_mixed(offset, jacobian, every, covariance, WAYS) == pytest.approx(
        marginals(offset, jacobian, every, covariance)
    )


def test_the_unknown_is_nothing_or_the_sensors_part_in_its_own_coordinate() -> None:
    unknowns = solve(stretches(metering="pressure"), [], car("pressure")).model.unknowns
    place = unknowns.index("sensed")
    assert unknowns.mixed is not None
    assert unknowns.mixed.place == place
    mean, sd = unknowns.mean[place], unknowns.sd[place]
    part, spread = load_priors().sensors["computed_sensor_part"]
    told = [(mean + sd * at, sd * wide) for _, at, wide in unknowns.mixed.ways]
    assert told == [pytest.approx((0.0, 0.0)), pytest.approx((part, spread))]


def test_the_check_with_the_key_on_tells_sensor_from_the_rest() -> None:
    """It is asked of a car that meters pressure, too: two minutes for half of what may be false."""
    case = solve(stretches(metering="pressure", pressure=0.8, meter=0.77), [], car("pressure"))
    told = posterior_of(case)[1]
    assert "key_on_pressure" in {one.check for one in next_checks(case, told, ())}
    assert posterior_of(case, ["key_on_pressure=0.81"])[1]["meter_low"] > 0.9
    assert posterior_of(case, ["key_on_pressure=1.0"])[1]["meter_low"] < told["meter_low"]


@pytest.mark.parametrize("metering", ["airflow", "pressure"])
def test_without_a_manifold_sensor_there_is_nothing_to_read_with_the_key_on(
    metering: Metering,
) -> None:
    case = solve(stretches(metering=metering, manifold=False), [], car(metering))
    asked = "key_on_pressure" in {one.check for one in next_checks(case, posterior_of(case)[1], ())}
    assert asked == (metering == "pressure")
