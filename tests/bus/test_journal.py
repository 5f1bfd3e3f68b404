"""Crash-safe writing: whatever stops the machine, what was read is on disk and reads back."""

import io
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from bellmouth.bus import kept
from bellmouth.bus.journal import Journal
from bellmouth.errors import RecordingError
from bellmouth.recording import read_recording
from bellmouth.recording.of_car import OfCar
from bellmouth.recording.readers import journal_of

NAMES = ("engine_speed", "mass_air_flow", "fuel_system_status")
SAID = OfCar("a1f", ("CAL-1",), ("1234ABCD",))
ROOT = Path(__file__).parents[2]


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def filled(path: Path, rows: int = 50, clock: Clock | None = None) -> Journal:
    clock = clock or Clock()
    journal = Journal(path, NAMES, clock=clock)
    for number in range(rows):
        clock.now = 0.1 * number
        values = {"engine_speed": 800.25 + number, "mass_air_flow": 2.5}
        if number % 5:
            del values["mass_air_flow"]
        journal.add(clock.now, values)
        journal.tend()
    return journal


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_capture_that_ends_in_order_is_one_plain_file(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"x{ending}"
    journal = filled(path)
    kept = journal.recording()
    journal.close()
    journal.close()
    assert [file.name for file in tmp_path.iterdir()] == [path.name]
    recording = read_recording(path)
    # The status never came: its column is empty, and that is said.
    assert recording.notes == ('Column "fuel_system_status [code]" is empty.',) * (ending == ".csv")
    for name, series in kept.series.items():
        assert recording.series[name].time_s == pytest.approx(series.time_s, abs=1e-6)
        assert np.array_equal(recording.series[name].value, series.value)
    if ending == ".csv":
        assert path.read_text("utf-8").splitlines()[1] == "0.000000,800.25,2.5,"


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_until_when_a_car_kept_silent_is_on_record(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"x{ending}"
    journal = filled(path)
    journal.woke(12.5, 12.9)
    journal.add(13.1, {"engine_speed": 0.0, "fuel_system_status": 1.0})
    journal.woke(13.0, 13.2)  # no later than a value: nobody kept silent
    journal.add(13.2, {"engine_speed": 0.0})
    assert journal.recording().woken == ((12.5, 12.9),)
    journal.close()
    recording = read_recording(path)
    assert list(recording.woken[0]) == pytest.approx([12.5, 13.1])
    assert len(recording.woken) == 1
    assert recording.notes == ()
    if ending == ".csv":
        assert "12.500000,,,\n13.100000,0.0,,1.0\n" in path.read_text("utf-8")


def test_every_row_is_on_disk_before_the_next_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    journal = Journal(path, NAMES)
    for number in range(20):
        journal.add(0.1 * number, {"engine_speed": 800.0 + number})
        journal.tend()
        assert path.read_bytes().endswith(f",{800.0 + number},,,\n".encode())
    journal.close()


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_what_a_crash_leaves_is_read_whole(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"x{ending}"
    journal = filled(path)
    recording = read_recording(path)  # as if it had been killed here
    speed = recording.series["engine_speed"]
    assert speed.time_s.size == 50
    assert speed.value[-1] == 849.25
    if ending == ".parquet":
        assert recording.notes[0].startswith(
            "The capture has not ended in order (or is still going on): read from x.parquet.journal"
        )
        assert recording.source == "x.parquet"
    journal.close()


def test_a_journal_cut_at_any_byte_never_gives_a_wrong_value(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    journal = filled(path, 12)
    raw = path.read_bytes()
    journal.close()
    whole = 800.25 + np.arange(12)
    begin = raw.index(b"\n", raw.index(b"\n", raw.index(b"\n") + 1) + 1) + 1
    cut = tmp_path / "cut.csv"
    for size in range(begin, len(raw) + 1):
        cut.write_bytes(raw[:size])
        recording = read_recording(cut)
        speed = recording.series["engine_speed"].value
        assert np.array_equal(speed, whole[: speed.size])
        tail = raw[:size].rpartition(b"\n")[2]
        assert speed.size == raw[:size].count(b"\n") - 1 + (tail.count(b",") == 4)
    cut.write_bytes(raw + b"1.2000" + bytes(300))  # the power failed
    recording = read_recording(cut)
    assert recording.series["engine_speed"].time_s.size == 12
    assert "The last row is cut short and was left out." in recording.notes


def test_the_snapshot_follows_and_is_never_half_a_file(tmp_path: Path) -> None:
    path = tmp_path / "x.parquet"
    clock = Clock()
    journal = Journal(path, NAMES, clock=clock)
    for number in range(400):
        clock.now = 0.05 * number
        journal.add(clock.now, {"engine_speed": 800.0 + number})
        journal.tend()
        if path.exists():
            assert pl.read_parquet(io.BytesIO(path.read_bytes())).height <= number + 1
        if number % 40 == 0:
            time.sleep(0.02)
    _until_there(path)
    journal.close()
    assert pl.read_parquet(path).height == 400


def _until_there(path: Path) -> None:
    """The first snapshot is being written, in a thread that a busy machine lets wait."""
    until_s = time.monotonic() + 60.0
    while not path.exists():
        assert time.monotonic() < until_s
        time.sleep(0.01)


def test_a_damaged_snapshot_is_no_loss(tmp_path: Path) -> None:
    path = tmp_path / "x.parquet"
    journal = filled(path)
    journal._snapshots.close()  # type: ignore[union-attr]
    path.write_bytes(b"PAR1 and then nothing")
    assert read_recording(path).series["engine_speed"].time_s.size == 50
    journal.close()


@pytest.mark.parametrize("there", ["x.csv", "x.parquet", "x.parquet.journal"])
def test_a_recording_is_never_overwritten(tmp_path: Path, there: str) -> None:
    (tmp_path / there).write_text("mine", encoding="utf-8")
    with pytest.raises(RecordingError) as caught:
        Journal(tmp_path / there.removesuffix(".journal"), NAMES)
    assert str(caught.value) == (
        f"{there}: is there already, and a recording is never overwritten. Choose another name."
    )
    assert (tmp_path / there).read_text("utf-8") == "mine"


def test_another_ending_and_a_folder_that_is_not_there_are_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordingError) as caught:
        Journal(tmp_path / "x.xlsx", NAMES)
    assert str(caught.value) == (
        "x.xlsx: what to record is told by the ending; use .parquet or .csv."
    )
    with pytest.raises(RecordingError) as caught:
        Journal(tmp_path / "nowhere" / "x.csv", NAMES)
    assert str(caught.value) == (
        f"{tmp_path}/nowhere/x.csv: cannot be written (no such file or directory). Choose another "
        "folder or name."
    )


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_full_disk_is_said_and_what_was_recorded_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    path = tmp_path / f"x{ending}"
    journal = filled(path, 30)

    def full(file: int, raw: bytes) -> int:
        # Half of it still fits.
        return real(file, raw[: len(raw) // 2])

    real = os.write
    monkeypatch.setattr(os, "write", full)
    with pytest.raises(RecordingError) as caught:
        journal.add(3.0, {"engine_speed": 900.0})
    assert str(caught.value) == (
        f"x{ending}: cannot be written on (no space left on device). What was recorded until "
        "then, 3 s, is kept."
    )
    monkeypatch.undo()
    journal.close()
    assert read_recording(path).series["engine_speed"].time_s.size == 30


def test_a_capture_without_a_sample_leaves_nothing(tmp_path: Path) -> None:
    for name in ("x.csv", "x.parquet"):
        Journal(tmp_path / name, NAMES).close()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_very_long_capture_keeps_memory_flat_and_the_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    monkeypatch.setattr(kept, "MOST_SAMPLES", 200)
    path = tmp_path / f"x{ending}"
    journal = filled(path, 1_000)
    journal.of_car(SAID)
    assert len(journal.recording().series["engine_speed"].time_s) <= 200
    journal.close()
    recording = read_recording(path)
    assert recording.of_car == (SAID if ending == ".parquet" else OfCar())
    assert recording.series["engine_speed"].time_s.size == 1_000
    assert recording.series["mass_air_flow"].time_s.size == 200
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


def test_which_car_it_is_of_outlives_a_crash(tmp_path: Path) -> None:
    path = tmp_path / "x.parquet"
    journal = Journal(path, NAMES)
    journal.of_car(SAID)
    for row in range(40):
        journal.add(0.1 * row, {"engine_speed": 700.0 + row})
    journal.tend()
    journal._snapshots.close()  # type: ignore[union-attr]
    assert journal_of(path).exists()
    assert read_recording(path).of_car == SAID
    journal.close()
    assert read_recording(path).of_car == SAID


def test_killed_at_any_moment_at_most_a_second_is_missing(tmp_path: Path) -> None:
    """``measure/kill_capture.py`` does this two hundred times."""
    script = [sys.executable, str(ROOT / "tests" / "bus" / "capturing.py")]
    paths = [tmp_path / name for name in ("a.csv", "b.parquet", "c.parquet")]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    running = [
        subprocess.Popen([*script, str(path)], stdout=subprocess.PIPE, env=environment)
        for path in paths
    ]
    for number, (process, path) in enumerate(zip(running, paths, strict=True)):
        assert process.stdout is not None
        before = [process.stdout.readline().strip() for _ in range(3)]  # it may stand still now
        assert all(before)
        time.sleep(0.4 + 0.3 * number)
        process.send_signal(signal.SIGKILL)
        told = before + process.stdout.read().split()
        process.stdout.close()
        process.wait()
        recording = read_recording(path)
        last = max(float(series.time_s[-1]) for series in recording.series.values())
        assert last > float(told[-2]) - 1.0
