"""That loads were off at idle is kept with a recording."""

from dataclasses import replace
from pathlib import Path

import pytest

from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from bellmouth.recording.of_car import OfCar
from bellmouth.recording.steady import stretches
from tests.finding.worked import healthy


@pytest.mark.parametrize("ending", ["parquet", "mf4"])
@pytest.mark.parametrize("told", [False, True])
def test_a_file_that_has_a_place_for_it_keeps_it(tmp_path: Path, ending: str, told: bool) -> None:
    path = tmp_path / f"kept.{ending}"
    whole = replace(healthy(), loads_off=told, of_car=OfCar("abc"))
    write_recording(whole, path)
    again = read_recording(path)
    assert again.loads_off is told
    assert again.of_car == whole.of_car


def test_a_csv_has_no_place_for_it(tmp_path: Path) -> None:
    write_recording(replace(healthy(), loads_off=True), tmp_path / "kept.csv")
    assert read_recording(tmp_path / "kept.csv").loads_off is False


def test_it_is_told_of_idles_alone() -> None:
    found = stretches(replace(healthy(), loads_off=True))
    assert {one.loads_off for one in found if one.kind == "idle"} == {True}
    assert {one.loads_off for one in found if one.kind != "idle"} <= {False}
    assert not any(one.loads_off for one in stretches(healthy()))
