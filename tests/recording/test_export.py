"""What is written reads back the same, in every format."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording import Recording, read_recording
from bellmouth.recording.export import ENDINGS, frame, write_recording
from tests.recording.made import LEVELS, make


@pytest.fixture(scope="module")
def recording() -> Recording:
    return make(LEVELS, np.random.default_rng(5))


@pytest.mark.parametrize("ending", ENDINGS)
def test_every_sample_comes_back(tmp_path: Path, recording: Recording, ending: str) -> None:
    path = tmp_path / f"x{ending}"
    write_recording(recording, path)
    back = read_recording(path)
    assert list(back.series) == list(recording.series)
    start = min(series.time_s[0] for series in recording.series.values())
    for name, series in recording.series.items():
        assert back.series[name].time_s == pytest.approx(series.time_s - start, abs=1e-9)
        assert np.array_equal(back.series[name].value, series.value)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_the_table_is_the_contracts(recording: Recording) -> None:
    table = frame(recording)
    assert table.columns[:2] == ["time [s]", "engine_speed [rpm]"]
    assert table["time [s]"].is_sorted()
    assert table["mass_air_flow [g/s]"].null_count() > 0


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_when_a_car_woke_comes_back(tmp_path: Path, recording: Recording, ending: str) -> None:
    last = max(float(series.time_s[-1]) for series in recording.series.values())
    speed = recording.series["engine_speed"]
    late = replace(
        speed, time_s=np.append(speed.time_s, last + 5.0), value=np.append(speed.value, 0.0)
    )
    woken = ((last + 4.0, last + 4.5),)
    path = tmp_path / f"x{ending}"
    write_recording(
        replace(recording, series={**recording.series, "engine_speed": late}, woken=woken), path
    )
    back = read_recording(path)
    start = min(series.time_s[0] for series in recording.series.values())
    assert list(back.woken[0]) == pytest.approx([last + 4.0, last + 5.0])
    assert len(back.woken) == 1
    assert back.series["engine_speed"].time_s == pytest.approx(late.time_s - start, abs=1e-9)


def test_what_was_asked_before_the_first_sample_has_no_row(recording: Recording) -> None:
    asleep = replace(recording, begins_s=5.0, woken=((3.0, 3.4), (-math.inf, 4.0)))
    assert frame(asleep).equals(frame(recording))


def test_columns_that_nobody_claims_prove_no_silence(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("time [s],engine_speed [rpm],own\n0,700,\n1,,3\n2,,\n3,710,4\n4,705,\n")
    assert read_recording(path).woken == ()


def test_nothing_is_overwritten_unless_told(tmp_path: Path, recording: Recording) -> None:
    path = tmp_path / "x.csv"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(RecordingError) as caught:
        write_recording(recording, path)
    assert str(caught.value) == "x.csv: is there already. Choose another name, or remove it."
    assert path.read_text(encoding="utf-8") == "mine"
    write_recording(recording, path, overwrite=True)
    assert read_recording(path).series.keys() == recording.series.keys()


def test_another_ending_is_refused(tmp_path: Path, recording: Recording) -> None:
    with pytest.raises(RecordingError) as caught:
        write_recording(recording, tmp_path / "x.xlsx")
    assert str(caught.value) == (
        "x.xlsx: what to write is told by the ending; use .csv, .parquet, .mf4."
    )


def test_a_folder_that_is_not_there_leaves_nothing_behind(
    tmp_path: Path, recording: Recording
) -> None:
    with pytest.raises(OSError, match="nowhere"):
        write_recording(recording, tmp_path / "nowhere" / "x.csv")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_disk_that_takes_no_more_is_an_os_error_and_leaves_nothing_behind(
    tmp_path: Path, recording: Recording, ending: str
) -> None:
    """Whatever library writes: a file may not grow beyond a kilobyte here."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1024, hard))
    try:
        with pytest.raises(OSError):  # noqa: PT011 - of which kind differs from library to library
            write_recording(recording, tmp_path / f"x{ending}")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list(tmp_path.iterdir()) == []
