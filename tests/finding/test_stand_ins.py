"""Findings and proofs of cars that tell airflow or manifold pressure extended alone."""

from dataclasses import replace

import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.find import find
from bellmouth.finding.prove import prove
from bellmouth.recording.quality import dead_sensors
from bellmouth.recording.series import Recording
from tests.finding.worked import healthy

AIRFLOW = Car(Known(2.0), "airflow", idle_rpm=Known(700.0))
PRESSURE = replace(AIRFLOW, metering="pressure")


def _two_meters(made: Recording) -> Recording:
    flow = made.series["mass_air_flow"]
    names = [f"mass_air_flow_sensor_{letter}_extended" for letter in "ab"]
    meters = {name: replace(flow, name=name, value=flow.value / 2) for name in names}
    return replace(made, series={**_without(made, "mass_air_flow").series, **meters})


def _without(made: Recording, name: str) -> Recording:
    return replace(made, series={k: one for k, one in made.series.items() if k != name})


def test_an_engine_that_draws_through_two_meters_is_judged_by_both() -> None:
    """By the first alone it breathed half of what its pressure asks for."""
    told, whole = find(_two_meters(healthy()), AIRFLOW), find(healthy(), AIRFLOW)
    assert told.present == pytest.approx(whole.present, abs=0.02)


def test_a_pressure_that_is_told_extended_alone_is_judged() -> None:
    made = _without(healthy(), "mass_air_flow")
    pressure = made.series["intake_manifold_pressure"]
    name = "intake_manifold_pressure_a_extended"
    extended = _without(made, pressure.name)
    extended = replace(extended, series={**extended.series, name: replace(pressure, name=name)})
    told, whole = find(extended, PRESSURE), find(made, PRESSURE)
    assert told.present == pytest.approx(whole.present, abs=0.02)


def test_before_and_after_may_tell_airflow_by_other_parameters() -> None:
    assert prove(healthy(), _two_meters(healthy("b.csv", 9)), AIRFLOW).verdict == "same"


def test_a_meter_that_is_told_extended_alone_questions_the_car_file() -> None:
    for told in (find(_two_meters(healthy()), PRESSURE), find(healthy(), PRESSURE)):
        assert any("Look for an airflow meter" in one for one in told.warnings)


@pytest.mark.parametrize(
    ("usual", "extended"),
    [
        ("mass_air_flow", "mass_air_flow_sensor_a_extended"),
        ("mass_air_flow", "mass_air_flow_sensor_b_extended"),
        ("intake_manifold_pressure", "intake_manifold_pressure_a_extended"),
    ],
)
def test_one_that_never_moves_is_said_to_be_stuck(usual: str, extended: str) -> None:
    one = healthy().series[usual]
    stuck = replace(one, name=extended, value=one.value * 0.0 + 31.0)
    made = healthy()
    said = dead_sensors(replace(made, series={**made.series, extended: stuck}))
    assert [text.split()[0] for text in said] == [extended]
