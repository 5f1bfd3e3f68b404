"""Recordings as a tool would have made them: polled, coded, lost, and the same every time."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from bellmouth.practice.polling import csv_text
from bellmouth.practice.population import draw, healthy_again
from bellmouth.practice.scenario import SimulatedCase, run, run_reference
from bellmouth.practice.signals import REPORTED
from tests.practice.conftest import plan_of, shortened


def test_values_are_coded_in_the_steps_of_their_parameter(
    drawn_sample: list[SimulatedCase],
) -> None:
    for sim in drawn_sample:
        for name, series in sim.recording.series.items():
            steps = REPORTED[name]
            inside = series.value < steps.high - 1e-9
            away = series.value - np.round(series.value / steps.quantum) * steps.quantum
            # Values are written to a millionth.
            assert np.max(np.abs(away[inside]), initial=0.0) < 1e-6
            assert np.all(np.diff(series.time_s) > 0)
            assert series.unit == steps.unit


def test_recordings_are_slow_and_sparse(drawn_sample: list[SimulatedCase]) -> None:
    rates = [s.recording.samples_per_s for s in drawn_sample]
    assert min(rates) > 2.3
    assert max(rates) < 23.0
    assert max(rates) > 2.0 * min(rates)


def test_metering_decides_what_is_reported(drawn_sample: list[SimulatedCase]) -> None:
    for sim in drawn_sample:
        assert ("mass_air_flow" in sim.recording) == (sim.car.metering == "airflow")
        assert ("intake_manifold_pressure" in sim.recording) == ("pressure" in sim.reported)
        two = "short_term_fuel_trim_bank_2" in sim.recording
        assert two <= (sim.car.banks == 2)


@pytest.mark.parametrize("variant", ["B", "E"])
def test_a_case_does_not_depend_on_its_company(variant: str) -> None:
    cases = [replace(c, plan=plan_of((0.0, 6.0))) for c in draw(3, variant, 9)]
    together, alone = run(cases), run([cases[1]])
    assert csv_text(together[1].recording) == csv_text(alone[0].recording)


def test_csv_has_the_contract_layout(drawn_sample: list[SimulatedCase], tmp_path: Path) -> None:
    sim = drawn_sample[0]
    path = tmp_path / "practice.csv"
    sim.write_csv(path)
    table = pl.read_csv(path, infer_schema_length=None)
    assert table.columns[0] == "time [s]"
    assert set(table.columns[1:]) == {
        f"{s.name} [{s.unit}]" for s in sim.recording.series.values()
    }  # fmt: skip
    for series in sim.recording.series.values():
        column = table[f"{series.name} [{series.unit}]"].drop_nulls().to_numpy()
        assert column == pytest.approx(series.value, abs=1e-6)


def test_key_on_shows_the_weather_and_the_resting_plate() -> None:
    case = next(c for c in draw(40, "A", 2) if c.plan.key[0] < 0.5)
    sim = run([shortened(case, 30.0)])[0]
    off = sim.time_s < 0.4 * float(np.sum(case.plan.key < 0.5))
    assert np.all(sim.true["speed_rpm"][off] == 0.0)
    expected = case.weather.barometric_kpa[0]
    assert np.mean(sim.true["true_kpa"][off]) == pytest.approx(expected, abs=0.2)
    rest = case.car.idle_opening_deg[0] + case.car.rest_above_idle_deg[0]
    assert np.mean(sim.true["opening_deg"][off]) == pytest.approx(rest, abs=0.05)


def test_a_drive_has_stops_loads_and_overruns() -> None:
    drive = draw(1, "B", 6, causes=["healthy"], plans=["drive"])[0]
    case = shortened(drive, 150.0)
    true = run([case])[0].true
    assert np.max(true["road_kmh"]) > 30.0
    assert np.mean(true["road_kmh"] < 1.0) > 0.05
    assert np.max(true["true_kpa"]) > 60.0
    assert np.min(true["true_kpa"][true["speed_rpm"] > 0]) < 30.0


def test_a_reference_is_the_same_car_when_good() -> None:
    case = replace(draw(3, "A", 8)[1], plan=plan_of((0.0, 6.0)))
    shortest = min(range(1, 40), key=lambda k: healthy_again(case, k, plan="idle").plan.seconds)
    reference = run_reference([case], occasion=shortest, plan="idle")[0]
    assert reference.truth.cause == "healthy"
    assert reference.car == run([case])[0].car
    assert set(reference.case.reports) == set(case.reports)
