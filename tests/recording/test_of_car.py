"""A recording holds which car it is of, where its file has a place for that, and not whose."""

from dataclasses import replace
from pathlib import Path

import pytest

from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from bellmouth.recording.of_car import OfCar, vehicle_mark
from tests.finding.worked import healthy

NUMBER = "1M8GDM9AXKP042788"  # widely printed example of 49 CFR 565.15
SAID = OfCar(vehicle_mark(NUMBER), ('CAL "{7}"', "ECM}2"), ("1234ABCD",))


@pytest.mark.parametrize("ending", [".parquet", ".mf4"])
def test_what_the_car_said_of_itself_is_kept_and_read_back(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"rec{ending}"
    write_recording(replace(healthy("x.csv"), of_car=SAID), path)
    assert read_recording(path).of_car == SAID
    assert NUMBER.encode() not in path.read_bytes()
    # And on from one to the other.
    for further in (".parquet", ".mf4"):
        there = tmp_path / f"again{further}"
        write_recording(read_recording(path), there, overwrite=True)
        assert read_recording(there).of_car == SAID


def test_a_csv_has_no_place_for_it_and_stays_the_plain_table_of_the_contract(
    tmp_path: Path,
) -> None:
    plain, said = tmp_path / "plain.csv", tmp_path / "said.csv"
    write_recording(healthy("x.csv"), plain)
    write_recording(replace(healthy("x.csv"), of_car=SAID), said)
    assert said.read_bytes() == plain.read_bytes()
    assert read_recording(said).of_car == OfCar()


def test_the_mark_tells_cars_apart_and_does_not_lead_to_one() -> None:
    marks = {vehicle_mark(f"00PBELLM0AP{number:06d}") for number in range(2000)}
    assert all(len(one) == 3 for one in marks)
    assert 1000 < len(marks) < 2000
    assert vehicle_mark(f" {NUMBER.lower()} ") == vehicle_mark(NUMBER)


@pytest.mark.parametrize("number", [None, "", "0" * 17, NUMBER[:-1], "00P************01"])
def test_what_is_no_number_has_no_mark(number: str | None) -> None:
    assert vehicle_mark(number) == ""


@pytest.mark.parametrize(
    "text",
    [
        "", "rec.csv\nnothing", '{"bellmouth-car":', '{"bellmouth-car":7}',
        '{"bellmouth-car":{"vehicle":7,"calibrations":[],"verifications":[]}}',
        '{"bellmouth-car":{"vehicle":"a\\nb","calibrations":[],"verifications":[]}}',
        '{"bellmouth-car":{"vehicle":"' + "x" * 99 + '","calibrations":[],"verifications":[]}}',
        '{"bellmouth-car":' + "[" * 100_000,
    ],
)  # fmt: skip
def test_what_is_damaged_or_of_somebody_else_is_unknown(text: str) -> None:
    assert OfCar.found_in(text) == OfCar()
    assert OfCar.found_in(f"x{SAID.text()}y") == SAID
