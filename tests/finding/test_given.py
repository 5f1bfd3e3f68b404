"""What programs hand to `find` and `prove` by mistake, or nearly rightly."""

from collections.abc import Callable
from dataclasses import replace
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import pytest

import bellmouth
from bellmouth.car import Car, car_from_mapping, read_car
from bellmouth.errors import BellmouthError, FindingError
from bellmouth.finding.checks import parse_results
from bellmouth.recording import Recording, read_recording

Given = tuple[Recording, Car]
#: As a program sees it that looks at no types.
UNTYPED: Any = bellmouth
MANY = "Give what read_recording('x.csv') returns."


@pytest.fixture(scope="module")
def demo() -> Given:
    with as_file(files("bellmouth") / "data" / "demo") as folder:
        return read_recording(folder / "recording.csv"), read_car(folder / "car.toml")


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda _, car: UNTYPED.find("x.csv", car),
            f'recording: str ("x.csv") is no recording. {MANY}',
        ),
        (
            lambda _, car: UNTYPED.find(None, car),
            "recording: None is no recording. Give what read_recording(file) returns.",
        ),
        (
            lambda one, _: UNTYPED.find(one, {"displacement_l": 2.0}),
            "car: dict is no car. Give what bellmouth.car.car_from_mapping(table) returns.",
        ),
        (
            lambda one, _: UNTYPED.find(one, "car.toml"),
            "car: str (\"car.toml\") is no car. Give what read_car('car.toml') returns.",
        ),
        (
            lambda one, car: UNTYPED.find(one, car, references="x.csv"),
            f'references: str ("x.csv") is no recording. {MANY}',
        ),
        (
            lambda one, car: UNTYPED.find(one, car, also=[Path("x.csv")]),
            f'also: PosixPath ("x.csv") is no recording. {MANY}',
        ),
        (
            lambda one, car: UNTYPED.find(one, car, results={"smoke_test": "none"}),
            'results: dict is no list of results. Give texts such as ["smoke_test=none"].',
        ),
        (
            lambda one, car: UNTYPED.find(one, car, prior=0.5),
            "prior: float holds no weights. Give a table of them or the name of its file.",
        ),
        (
            lambda one, car: UNTYPED.find(one, car, complaint=5),
            'complaint: int is no text. Give one such as "high idle".',
        ),
        (
            lambda one, car: UNTYPED.find(one, car, family={}),
            "family: dict is no engine family. Give what read_family returns, or the name of its "
            "file.",
        ),
        (
            lambda one, car: UNTYPED.prove(one, "x.csv", car),
            f'after: str ("x.csv") is no recording. {MANY}',
        ),
        (
            lambda one, car: UNTYPED.prove(one, one, car, done=5),
            'done: int is no list of works. Give texts such as ["clean_plate"].',
        ),
        (
            lambda one, _: UNTYPED.read_recording(one),
            "read_recording: Recording is no name of a file. Give a path as text.",
        ),
        (
            lambda *_: UNTYPED.read_recording("x.csv", mapping=["a"]),
            "mapping: list is none. Give a table from their header to ours, or the name of its "
            "file.",
        ),
        (
            lambda *_: UNTYPED.read_recording("x.csv", mapping={"a": 5}),
            'mapping, column "a": 5 is not text. Write a name and a unit, such as '
            '"mass_air_flow [g/s]".',
        ),
        (
            lambda *_: UNTYPED.read_recording("x.csv", controller="10"),
            'controller: "10" is no address. Give a whole number, such as 0x10.',
        ),
        (
            lambda *_: UNTYPED.read_car({"displacement_l": 2.0}),
            "read_car: dict is no name of a file. Give a path as text, or a table of its keys to "
            "bellmouth.car.car_from_mapping.",
        ),
    ],
)
def test_another_kind_of_thing_is_refused_in_a_sentence(
    demo: Given, call: Callable[..., Any], sentence: str
) -> None:
    with pytest.raises(BellmouthError) as caught:
        call(*demo)
    assert str(caught.value) == sentence


def test_one_thing_is_a_list_of_one(demo: Given) -> None:
    judged, car = demo
    with pytest.raises(FindingError, match="is the same recording as"):
        bellmouth.find(judged, car, references=judged)
    with pytest.raises(FindingError, match="is the same recording as"):
        bellmouth.find(judged, car, also=judged)
    alone = bellmouth.find(judged, car, results="smoke_test=none")
    assert alone == bellmouth.find(judged, car, results=["smoke_test=none"])
    assert alone == bellmouth.find(judged, car, results=parse_results(["smoke_test=none"])[0])
    assert alone != bellmouth.find(judged, car)


def test_airflow_of_a_car_that_meters_pressure_is_questioned(demo: Given) -> None:
    judged, car = demo
    pressure = car_from_mapping({"displacement_l": 2.0, "metering": "pressure"})
    asked = [one for one in bellmouth.find(judged, pressure).warnings if "airflow meter" in one]
    assert len(asked) == 1
    assert asked[0].startswith("By the car file the engine meters pressure: mass_air_flow was")
    assert not any("airflow meter" in one for one in bellmouth.find(judged, car).warnings)
    silent = {name: one for name, one in judged.series.items() if name != "mass_air_flow"}
    without = bellmouth.find(replace(judged, series=silent), pressure)
    assert not any("airflow meter" in one for one in without.warnings)
