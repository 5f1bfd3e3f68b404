"""The step of a reading, whatever a logger made of it."""

from pathlib import Path

import numpy as np
import pytest

from bellmouth.recording import read_recording
from bellmouth.recording.quantum import quantum
from bellmouth.recording.series import Floats, Series
from bellmouth.recording.trims import total_trim_series
from tests.recording.made import LEVELS, make
from tests.recording.test_steady import scores_of


def series(name: str, value: Floats) -> Series:
    return Series(name, "", np.arange(float(len(value))), np.asarray(value, dtype=np.float64))


def test_straight_lines_between_readings_are_no_finer_steps() -> None:
    """As a program leaves them that brings all parameters onto one clock."""
    found = scores_of(8, rows_per_s=10, straight=True)
    assert max(found.values()) < 1.35, found
    rng = np.random.default_rng(1)
    read = np.rint(30 + rng.normal(0, 1.0, 100))
    between = np.interp(np.arange(0, 99, 0.13), np.arange(100), read)
    assert quantum(series("intake_manifold_pressure", between)) == 1.0


@pytest.mark.parametrize("step", [0.25, 0.5, 0.1])
def test_a_finer_reading_keeps_its_step(step: float) -> None:
    fine = np.rint(np.random.default_rng(2).normal(30, 1.5, 400) / step) * step
    assert quantum(series("intake_manifold_pressure", fine)) == pytest.approx(step)
    free = np.random.default_rng(3).normal(30, 1.5, 400)
    assert quantum(series("intake_manifold_pressure", free)) < 0.01


def test_means_of_a_second_are_no_finer_than_their_readings(tmp_path: Path) -> None:
    """A clock on the wall without fractions, of which several rows are one moment."""
    rng = np.random.default_rng(4)
    rows = [
        f"12:00:{n // 5:02d},{700 + n % 9},{31 + round(rng.normal(0, 0.6))}" for n in range(290)
    ]
    file = tmp_path / "wall.csv"
    head = "time,engine_speed [rpm],intake_manifold_pressure [kPa]"
    file.write_text("\n".join([head, *rows]) + "\n", "utf-8")
    pressure = read_recording(file).series["intake_manifold_pressure"]
    assert np.unique(pressure.value % 1).size > 2
    assert quantum(pressure) == 1.0


def test_few_levels_that_fit_a_coarse_step_have_it() -> None:
    assert quantum(series("mass_air_flow", np.array([2.5, 3.0, 2.5, 4.0, 3.0]))) == 0.5
    assert quantum(series("engine_speed", np.array([675.0, 700.0, 725.0, 700.0]))) == 25.0
    assert quantum(series("engine_speed", np.array([700.0, 1500.0, 2300.0]))) == 0.25
    # Two levels may lie anywhere, and a few whole kPa three apart by chance.
    assert quantum(series("mass_air_flow", np.array([2.5, 3.0, 2.5]))) == pytest.approx(0.01)
    assert quantum(series("intake_manifold_pressure", np.array([30.0, 33.0, 39.0]))) == 1.0


def test_a_total_trim_is_no_finer_than_its_terms() -> None:
    total = total_trim_series(make(LEVELS, np.random.default_rng(5)), 1)
    assert total is not None
    assert quantum(total) == pytest.approx(0.0078125 * np.sqrt(2))
