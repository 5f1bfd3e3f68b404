"""Damaged times: left out and said, where a clock that began again is not."""

from pathlib import Path

import numpy as np
import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording import read_recording
from bellmouth.recording.clock import is_astray
from bellmouth.recording.series import Floats


def _seconds(rows: int) -> Floats:
    return np.asarray(0.1 * np.arange(rows), dtype=np.float64)


@pytest.mark.parametrize("wrong", [6.5e63, -4.3e96, 5e6, 1e12, -300.0])
def test_a_time_that_leaps_out_of_the_row_and_back_is_astray(wrong: float) -> None:
    time = 1000.0 + _seconds(400)
    time[200:203] = wrong
    assert np.flatnonzero(is_astray(time)).tolist() == [200, 201, 202]


def test_damage_that_goes_both_ways_at_once_is_found() -> None:
    time = 1000.0 + _seconds(800)
    time[300:304] = (-6e9, 3e5, 2e300, -7.0)
    assert np.flatnonzero(is_astray(time)).tolist() == [300, 301, 302, 303]


def test_a_clock_that_began_again_is_not_astray() -> None:
    assert not is_astray(np.concatenate([_seconds(400), _seconds(400)])).any()
    # A first try of eight rows, and a last one.
    first = np.concatenate([3.0 * np.arange(8), _seconds(2000)])
    assert not is_astray(first).any()
    assert not is_astray(np.concatenate([_seconds(2000), 0.1 * np.arange(8)])).any()


def test_rows_out_of_order_are_not_astray() -> None:
    time = _seconds(400)
    time[[100, 101]] = time[[101, 100]]
    assert not is_astray(time).any()
    assert not is_astray(np.array([0.0, 50.0, 1.0, 2.0])).any()  # of few, who is to say
    assert not is_astray(np.zeros(0)).any()


def test_a_damaged_time_is_left_out_and_said(tmp_path: Path) -> None:
    rows = [f"{0.1 * n:.1f},{800 + n % 7}" for n in range(300)]
    rows[120] = "7e63,800"
    file = tmp_path / "hurt.csv"
    file.write_text("\n".join(["time [s],engine_speed [rpm]", *rows]) + "\n", "utf-8")
    recording = read_recording(file)
    assert recording.series["engine_speed"].time_s.size == 299
    assert recording.series["engine_speed"].time_s[-1] == pytest.approx(29.9)
    assert recording.notes == ("1 row with a damaged time was left out.",)


@pytest.mark.parametrize("wrong", [2.6e9, 4e5, 0.0])
@pytest.mark.parametrize("ends", [[0], [-1], [0, 1, -1], [-2, -1]])
def test_the_first_or_last_rows_are_not_days_from_all_others(wrong: float, ends: list[int]) -> None:
    time = 1.7e9 + _seconds(400)
    time[ends] = wrong
    assert np.flatnonzero(is_astray(time)).tolist() == sorted(end % 400 for end in ends)
    few = np.array([9e5, 0.0, 1.0, 2.0])
    assert is_astray(few).tolist() == [True, False, False, False]
    assert not is_astray(few[:2]).any()


@pytest.mark.parametrize("row", [0, 299])
def test_a_damaged_time_at_an_end_makes_no_recording_of_years(tmp_path: Path, row: int) -> None:
    times = [f"{1_700_000_000 + 0.1 * n:.1f}" for n in range(300)]
    times[row] = "2" + times[row][1:]
    file = tmp_path / "hurt.csv"
    rows = [f"{time},800" for time in times]
    file.write_text("\n".join(["time [s],engine_speed [rpm]", *rows]) + "\n", "utf-8")
    recording = read_recording(file)
    assert recording.series["engine_speed"].time_s[-1] == pytest.approx(29.8)
    assert recording.notes == ("1 row with a damaged time was left out.",)


def test_a_clock_set_anew_in_the_middle_is_one_sentence(tmp_path: Path) -> None:
    rows = [f"{0.1 * n + (3e8 if n > 150 else 0):.1f},800" for n in range(300)]
    file = tmp_path / "set.csv"
    file.write_text("\n".join(["time [s],engine_speed [rpm]", *rows]) + "\n", "utf-8")
    with pytest.raises(RecordingError, match=r"3472 days lie between its first row and its last"):
        read_recording(file)
