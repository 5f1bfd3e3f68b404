"""``bellmouth convert``: a recording of any kind to Parquet, CSV or MDF."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result

from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from bellmouth.recording.of_car import OfCar
from tests.finding.worked import healthy
from tests.recording.bus_made import Bus
from tests.recording.test_traffic import talk

Run = Callable[..., Result]


@pytest.mark.parametrize("ending", [".csv", ".parquet", ".mf4"])
def test_a_bus_log_becomes_any_of_them(run: Run, tmp_path: Path, ending: str) -> None:
    log = talk(Bus()).write(tmp_path / "drive.asc")
    out = tmp_path / f"out{ending}"
    result = run("convert", log, out)
    assert result.exit_code == 0, result.output
    assert result.output.splitlines() == [
        f"{out}: 4 parameters, 80 samples, 19 s.",
        "- Read from recorded bus traffic (ASC log).",
    ]
    assert set(read_recording(out).series["engine_speed"].value) == {1726.0}


def test_there_and_back_is_the_same(run: Run, recording: Path, tmp_path: Path) -> None:
    one, two = tmp_path / "one.mf4", tmp_path / "two.csv"
    assert run("convert", recording, one).exit_code == 0
    assert run("convert", one, two).exit_code == 0
    before, after = read_recording(recording), read_recording(two)
    for name, series in before.series.items():
        assert np.array_equal(after.series[name].value, series.value)


_CAR = "A CSV has no place for which car it is of: Parquet and MDF keep that."
_LOADS = "A CSV has no place for loads that were off: --loads-off tells it."


@pytest.mark.parametrize(
    ("of_car", "loads_off", "held"),
    [
        (OfCar("abc"), False, [_CAR]),
        (OfCar(), True, [_LOADS]),
        (OfCar("abc"), True, [_CAR, _LOADS]),
        (OfCar(), False, []),
    ],
)
def test_what_a_csv_has_no_place_for_is_said(
    run: Run, tmp_path: Path, of_car: OfCar, loads_off: bool, held: list[str]
) -> None:
    kept = tmp_path / "kept.parquet"
    write_recording(replace(healthy(), of_car=of_car, loads_off=loads_off), kept)
    lines = run("convert", kept, tmp_path / "x.CSV").output.splitlines()
    assert lines[1:] == held
    assert "no place" not in run("convert", kept, tmp_path / "x.mf4").output


def test_one_controller_of_several(run: Run, tmp_path: Path) -> None:
    bus = talk(Bus())
    for _ in range(3):
        bus.ask("010D")
        bus.say("410D32", 0x11)
        bus.time_s += 1
    log = bus.write(tmp_path / "two.log")
    result = run("convert", log, tmp_path / "x.csv", "--controller", "0x11")
    assert result.exit_code == 0, result.output
    assert set(read_recording(tmp_path / "x.csv").series) == {"vehicle_speed"}
    assert "- Controller 10 answered too (40 replies)." in result.output


def test_nothing_is_overwritten_unless_told(run: Run, recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "x.csv"
    assert run("convert", recording, out).exit_code == 0
    again = run("convert", recording, out)
    assert again.exit_code == 2
    assert again.output == (
        f"bellmouth: {out}: is there already. Choose another name, or add --overwrite.\n"
    )
    assert run("convert", recording, out, "--overwrite").exit_code == 0


def test_mistakes_are_told_in_a_sentence(run: Run, recording: Path, tmp_path: Path) -> None:
    for words in (
        ("convert", recording, tmp_path / "x.xlsx"),
        ("convert", tmp_path / "nowhere.csv", tmp_path / "x.csv"),
        ("convert", recording, tmp_path / "nowhere" / "x.csv"),
        ("convert", recording, tmp_path / "x.csv", "--controller", "100"),
    ):
        result = run(*words)
        assert result.exit_code == 2
        assert result.output.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("ending", [".csv", ".parquet", ".mf4"])
def test_a_place_that_takes_no_file_is_named_as_it_was_given(
    run: Run, recording: Path, ending: str
) -> None:
    """The kernel's folder of processes may be written into by nobody, whoever runs this."""
    result = run("convert", recording, f"/proc/place{ending}")
    assert result.exit_code == 2
    assert result.output == (
        f"bellmouth: /proc/place{ending}: no such file or directory. Check the name and that you "
        "may read or write it.\n"
    )
