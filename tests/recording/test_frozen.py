"""A logger that goes on writing the last readings when nobody answers any more."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from tests.recording.made import LEVELS, Level, make


def filled(recording: Recording, *frozen: tuple[float, float]) -> Recording:
    """Five full rows a second; from one time to another those of the first. [s]"""
    rows = np.arange(2.0, max(one.time_s[-1] for one in recording.series.values()), 0.2)
    look = rows.copy()
    for begin_s, end_s in frozen:
        look[(rows >= begin_s) & (rows < end_s)] = begin_s
    series = {
        name: replace(
            one,
            time_s=rows,
            value=one.value[np.maximum(np.searchsorted(one.time_s, look, side="right") - 1, 0)],
        )
        for name, one in recording.series.items()
    }
    return replace(recording, series=series)


def through_a_file(recording: Recording, tmp_path: Path) -> Recording:
    write_recording(recording, tmp_path / "made.csv", overwrite=True)
    return read_recording(tmp_path / "made.csv")


def test_rows_that_only_repeat_are_no_stretch(tmp_path: Path) -> None:
    """While the speed goes up the adapter drops out: an engine never ran at what was written."""
    made = make(LEVELS, np.random.default_rng(1), samples_per_s=30)
    speed = made.series["engine_speed"]
    rising = (speed.value > 900) & (speed.value < 1400) & (speed.time_s > 50)
    begin_s = float(speed.time_s[rising][0])
    recording = filled(made, (begin_s, begin_s + 22))
    assert any(900 < one.value("engine_speed") < 1400 for one in stretches(recording))
    read = through_a_file(recording, tmp_path)
    assert not any(900 < one.value("engine_speed") < 1400 for one in stretches(read))
    (said,) = read.notes
    assert said.startswith("From 51 to 73 s nothing moved while the engine turned")
    for series in read.series.values():
        assert not ((series.time_s > 52) & (series.time_s < 72)).any()


def test_several_times_are_told_together(tmp_path: Path) -> None:
    recording = filled(make(LEVELS, np.random.default_rng(2)), (30.0, 45.0), (95.0, 107.0))
    (said,) = through_a_file(recording, tmp_path).notes
    assert said.startswith("2 times nothing moved while the engine turned, the longest from 28 to")


@pytest.mark.parametrize("noise", [0.0, 0.3, 1.0])
def test_what_was_read_stays(noise: float, tmp_path: Path) -> None:
    """Also of readings that hardly move as a rule, and of a key that is on before the start."""
    levels = [Level(60, *LEVEL_OFF), *LEVELS]
    recording = filled(make(levels, np.random.default_rng(3), noise=noise))
    assert through_a_file(recording, tmp_path).notes == ()


LEVEL_OFF = (0.0, 99.0, 0.0, 17.5, 0.0, 4.0)


def test_airflow_that_stands_while_speed_changes_is_left_out(tmp_path: Path) -> None:
    """Its answers stop at idle, and come again at 2,500 rpm."""
    name = "mass_air_flow"
    recording = filled(make(LEVELS, np.random.default_rng(4)))
    one = recording.series[name]
    stale = (one.time_s > 40) & (one.time_s < 95)
    one.value[stale] = one.value[stale][0]
    read = through_a_file(recording, tmp_path)
    (said,) = read.notes
    assert said.startswith(f"{name} stood still while engine speed changed, the longest from 3")
    left = read.series[name].time_s
    assert not ((left > 41) & (left < 92)).any()
    other = read.series["throttle_position"].time_s
    assert ((other > 41) & (other < 92)).any()
    held = next(one for one in stretches(read) if 1400 < one.value("engine_speed") < 1600)
    assert name not in held.readings


def test_a_dead_meter_and_a_pressure_that_stands_are_left_alone(tmp_path: Path) -> None:
    recording = filled(make(LEVELS, np.random.default_rng(5)))
    recording.series["mass_air_flow"].value[:] = 2.6
    pressure = recording.series["intake_manifold_pressure"]
    pressure.value[(pressure.time_s > 40) & (pressure.time_s < 95)] = 30.0
    assert through_a_file(recording, tmp_path).notes == ()
