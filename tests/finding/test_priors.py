"""Priors and causes: stated, normalised, replaceable, and strict about what they are given."""

from pathlib import Path

import numpy as np
import pytest

from bellmouth.car.complaint import COMPLAINTS
from bellmouth.car.description import Complaint, Known, Metering
from bellmouth.errors import FindingError
from bellmouth.finding.case import solve
from bellmouth.finding.causes import CAUSES, pairs, singles
from bellmouth.finding.priors import cause_weights, load_priors, read_weights, weights_from
from bellmouth.physics import throttle
from bellmouth.physics.fuel import injector_time_factor
from tests.finding.garage import car, stretches


@pytest.mark.parametrize("complaint", list(load_priors().complaint))
def test_every_complaint_states_weights_that_sum_to_one(complaint: Complaint) -> None:
    weights = cause_weights(complaint)
    assert sum(weights.values()) == pytest.approx(1.0)
    assert set(weights) == {"healthy", *CAUSES, "pairs", "unexplained"}


def test_every_complaint_of_a_car_has_its_weights() -> None:
    assert set(COMPLAINTS) == set(load_priors().complaint)


def test_no_complaint_is_mostly_healthy() -> None:
    assert cause_weights("none")["healthy"] > 0.9
    assert (
        cause_weights("after cleaning")["learned_stale"] > cause_weights("unknown")["learned_stale"]
    )


def test_weights_from_a_file_are_scaled(tmp_path: Path) -> None:
    path = tmp_path / "prior.toml"
    path.write_text("[prior]\nhealthy = 3\nleak = 1\n")
    assert read_weights(path) == {"healthy": 0.75, "leak": 0.25}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("leek = 1", 'unknown cause "leek"'),
        ("leak = -1", "weight of leak is -1"),
        ("leak = inf", "Use a finite number"),
        ("leak = 'much'", "weight of leak is 'much'"),
        ("leak = 0", "no cause has a weight"),
        ("leak = ", "not valid TOML"),
        ('"leak+leak" = 1\nhealthy = 1', "leak+leak cannot be a pair"),
        ('"meter_high+meter_low" = 1\nhealthy = 1', "meter_high+meter_low cannot be a pair"),
        ('"deposit+learned_stale" = 9\nhealthy = 1', "deposit+learned_stale cannot be a pair"),
        ('"leak+meter_low" = 1\n"meter_low+leak" = 5', "leak+meter_low has two weights"),
    ],
)
def test_a_bad_prior_file_says_what_is_wrong(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "prior.toml"
    path.write_text(text)
    with pytest.raises(FindingError) as caught:
        read_weights(path)
    assert words in str(caught.value)
    assert str(path) in str(caught.value)


def test_a_missing_prior_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(FindingError, match="cannot be read"):
        read_weights(tmp_path / "none.toml")


def test_pairs_may_be_weighted_in_either_order() -> None:
    assert weights_from({"meter_low+leak": 1}, "prior") == {"leak+meter_low": 1.0}


def test_a_pressure_sensor_is_a_cause_only_beside_a_meter() -> None:
    assert "pressure_low" not in singles(both_sensors=False, boost=False)
    assert "pressure_low" in singles(both_sensors=True, boost=False)
    assert "boost_high" not in singles(both_sensors=True, boost=False)


def test_pairs_leave_out_what_cannot_stand_together() -> None:
    found = pairs(singles(both_sensors=True, boost=True))
    assert ("leak", "meter_low") in found
    assert ("meter_low", "meter_high") not in found
    assert ("deposit", "learned_stale") not in found


def test_a_stated_bore_tells_what_a_degree_of_its_plate_opens() -> None:
    """Against the geometry of a round plate of that bore, closed at 8 degrees, discharge 0.8."""
    priors = load_priors()
    mean, sd = priors.of(car(throttle_bore_mm=Known(60.0, 1.0))).plate["log_slope_mm2_per_pct"]
    open_m2 = throttle.open_area_m2(np.array([9.0, 12.0]), 8.0, 0.06, 0.0096)
    slope = 0.8 * 1e6 * float(open_m2[1] - open_m2[0]) / (3.0 * 1.15)
    assert abs(mean - np.log(slope)) < sd
    assert sd < priors.plate["log_slope_mm2_per_pct"][1]


def test_without_a_bore_the_priors_are_those_of_any_car() -> None:
    assert load_priors().of(car()) is load_priors()


def test_beside_a_reference_a_fuel_fault_is_more_than_another_tank() -> None:
    """E10 after E0 moves the trims by itself; computed air has its days, a meter hardly."""
    smallest = {name: low for name, (low, _) in load_priors().sizes_with_reference.items()}
    assert smallest["fuel"] > 1.3 * np.log(injector_time_factor(0.10, 0.0))
    which: tuple[tuple[Metering, str], ...] = (("airflow", "meter"), ("pressure", "computed"))
    for metering, name in which:
        good = stretches(metering=metering)
        case = solve(good, [good], car(metering))
        row = case.hypotheses.names.index("meter_low")
        assert case.hypotheses.low[row, 0] == pytest.approx(smallest[name])
    assert smallest["meter"] < smallest["computed"]
