"""Which recordings a survey is given and whose they are."""

import os
from dataclasses import replace
from pathlib import Path

import pytest

from bellmouth.errors import CarError, RecordingError
from bellmouth.fleet.family_files import examples_of
from bellmouth.fleet.inputs import find_recordings, owner_of, read_cars
from tests.fleet.cars import make_fleet


@pytest.mark.parametrize(
    ("path", "owner"),
    [
        ("/data/car=a1/2024.parquet", "a1"),
        ("/data/a1/idle.csv", "a1"),
        ("/data/a1.csv.gz", "a1"),
        ("/data/a1_monday.csv", "a1"),
        ("/data/a1-7_monday.csv", "a1-7"),
        ("/data/a12.csv", None),
        ("/data/nobody.csv", None),
        ("zip://monday/a1_idle.csv::/data/a1-7.zip", "a1"),
        ("simplecache::s3://bucket/a1-7/idle.csv", "a1-7"),
        ("/data/a1.2_monday.csv", "a1.2"),
        ("/data/a1.2.csv.gz", "a1.2"),
        ("/data/a1.3_monday.csv", "a1"),
        ("/data/Ka\u0308fer_monday.csv", "K\u00e4fer"),
    ],
)
def test_a_recording_belongs_to_the_longest_identity_that_fits(
    path: str, owner: str | None
) -> None:
    assert owner_of(path, frozenset({"a1", "a1-7", "a1.2", "K\u00e4fer"})) == owner


def test_folders_globs_and_files_are_found_once_each(tmp_path: Path) -> None:
    recordings, _ = make_fleet(tmp_path)
    every = find_recordings([str(recordings), str(recordings / "*.csv")])
    assert len(every) == 5
    assert [one.path for one in every] == sorted(one.path for one in every)
    assert len(find_recordings([f"{recordings}/**/*.csv"])) == 4


def test_what_the_survey_keeps_among_the_recordings_is_none_of_them(tmp_path: Path) -> None:
    recordings, cars = make_fleet(tmp_path)
    before = find_recordings([str(recordings)])
    table = recordings / "cars.csv"
    table.write_bytes(cars.read_bytes())
    parts = recordings / "findings.parquet"
    parts.mkdir()
    (parts / "part-0.parquet").write_bytes(b"")
    assert len(find_recordings([str(recordings)])) == 7
    assert find_recordings([str(recordings)], leaving_out=(table, parts)) == before
    with pytest.raises(RecordingError, match="no recording there"):
        find_recordings([str(parts)], leaving_out=(parts,))


def test_memory_addresses_are_read_through_fsspec(tmp_path: Path) -> None:
    import fsspec  # noqa: PLC0415

    with fsspec.open("memory://fleet/van01.csv", "w") as file:
        file.write("time [s]\n")
    assert find_recordings(["memory://fleet"])[0].path == "memory:///fleet/van01.csv"


def test_an_empty_folder_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="no recording there"):
        find_recordings([str(tmp_path)])
    with pytest.raises(RecordingError, match="there is no such file or folder"):
        find_recordings([str(tmp_path / "nowhere")])


def test_the_table_keeps_rows_that_are_wrong_with_the_reason(tmp_path: Path) -> None:
    _, path = make_fleet(tmp_path)
    table = read_cars(path)
    assert set(table.cars) == {"van01", "van02", "van03", "van05"}
    assert 'metering = "guess" is not known' in table.refused["van04"]
    known = table.cars["van01"].idle_rpm
    assert known is not None
    assert (known.value, known.sd) == (700.0, 10.0)
    assert table.cars["van02"].idle_rpm is None
    assert table.family["van01"] == "two litre"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("name,displacement_l\na,2\n", 'no column "car"'),
        ("car,displacement_l,metering\na,2,airflow\na,2,airflow\n", "a stands in more than one"),
        ("car,displacement_l,metering\n,2,airflow\n", "a row has no identity"),
        ("car,displacement,metering\na,2,airflow\n", "unknown key displacement"),
        ("car,displacement_l,metering\n", "no car in it"),
        ("", "it is empty"),
    ],
)
def test_a_table_that_cannot_be_used_is_a_sentence(
    tmp_path: Path, text: str, sentence: str
) -> None:
    path = tmp_path / "cars.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(CarError, match=sentence):
        read_cars(path)


def test_a_table_in_another_encoding_is_told_so(tmp_path: Path) -> None:
    path = tmp_path / "cars.csv"
    path.write_bytes("car,displacement_l,metering,name\na,2,airflow,Käfer\n".encode("cp1252"))
    with pytest.raises(CarError, match=r"its text is not UTF-8: save it as CSV in UTF-8"):
        read_cars(path)


def test_a_name_of_digits_stays_as_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "cars.csv"
    rows = "0012,007,2,airflow,1.10\n0013,007,2,airflow,2\n"
    path.write_text(f"car,family,displacement_l,metering,name\n{rows}", "utf-8")
    found = read_cars(path)
    assert list(found.cars) == ["0012", "0013"]
    assert (found.family["0012"], found.cars["0012"].name) == ("007", "1.10")


def test_a_table_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(CarError, match="there is no such file"):
        read_cars(tmp_path / "none.csv")


def test_a_folder_that_may_not_be_opened_is_no_empty_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recordings, _ = make_fleet(tmp_path)
    scan = os.scandir

    def refusing(path: str) -> object:
        if str(path).endswith("van02"):
            raise PermissionError(13, "Permission denied", str(path))
        return scan(path)

    # Whoever runs the tests may be allowed everything, so the mode of the folder proves nothing.
    monkeypatch.setattr(os, "scandir", refusing)
    with pytest.raises(RecordingError, match=r"van02 may not be opened \(Permission denied\)"):
        find_recordings([str(recordings)])


def test_one_cell_that_is_no_number_is_the_fault_of_its_own_car_alone(tmp_path: Path) -> None:
    cars = tmp_path / "cars.csv"
    rows = ("a,2.0,airflow,4,true,7", "b,155 ci,airflow,4,true,8", "c,2.5,airflow,four,false,9",
            "d,2550,airflow,4,perhaps,")  # fmt: skip
    head = "car,displacement_l,metering,cylinders,turbocharged,name"
    cars.write_text("\n".join((head, *rows)), encoding="utf-8")
    found = read_cars(cars)
    assert found.cars.keys() == {"a"}
    assert found.cars["a"].displacement_l.value == 2.0
    assert found.cars["a"].turbocharged is True
    assert 'displacement_l is "155 ci", not a number' in found.refused["b"]
    assert "cylinders" in found.refused["c"]
    assert "2550 is impossible" in found.refused["d"]


@pytest.mark.parametrize(
    "text",
    [
        "car;displacement_l;metering;idle_rpm\na;1,98;airflow;700\nb;2,5;airflow;\n",
        "car\tdisplacement_l\tmetering\tidle_rpm\na\t1,98\tairflow\t700\nb\t2,5\tairflow\t\n",
        'car,displacement_l,metering,idle_rpm\na,"1,98",airflow,700\nb,2.5,airflow,\n',
        "\ufeffcar;displacement_l;metering;idle_rpm\r\na;1.98;airflow;700\r\nb;2.5;airflow;\r\n",
    ],
)
def test_a_table_may_be_written_as_spreadsheets_of_other_countries_do(
    tmp_path: Path, text: str
) -> None:
    cars = tmp_path / "cars.csv"
    cars.write_bytes(text.encode())
    found = read_cars(cars)
    assert not found.refused
    known = found.cars["a"].idle_rpm
    assert known is not None
    assert (found.cars["a"].displacement_l.value, known.value) == (1.98, 700.0)
    assert found.cars["b"].displacement_l.value == 2.5


def test_one_recording_under_two_cars_counts_once_for_their_family(tmp_path: Path) -> None:
    recordings, cars = make_fleet(tmp_path)
    (recordings / "van05.csv").write_bytes((recordings / "van01_monday.csv").read_bytes())
    table = read_cars(cars)
    table = replace(table, family=dict.fromkeys(table.family, "two litre"))
    found, refused = examples_of([str(recordings)], table, "two litre")
    assert [one.identity for one in found] == ["van01", "van02"]
    (told,) = [one for one in refused if "van05.csv" in one]
    assert told.endswith("van01_monday.csv, which counts once")
