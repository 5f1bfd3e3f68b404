"""Findings and proofs of cars that tell airflow or manifold pressure extended alone."""

from dataclasses import replace

import pytest

from bellmouth.car.description import Car, Known
from bellmouth.finding.find import find
from bellmouth.finding.prove import prove
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
