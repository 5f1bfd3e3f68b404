"""A survey: every recording a row, the same on any number of workers, taken up after a break."""

import hashlib
import json
import os
import shutil
import signal
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from bellmouth import find, read_recording
from bellmouth.errors import BellmouthError
from bellmouth.finding.case import Case, Prepared, solve_many
from bellmouth.fleet import rows as rows_module
from bellmouth.fleet import survey as module
from bellmouth.fleet.cluster import local_cluster
from bellmouth.fleet.inputs import Found, read_cars
from bellmouth.fleet.parts import Findings
from bellmouth.fleet.rows import SCHEMA, Task, rows_of
from bellmouth.fleet.survey import Progress, bundles, survey
from bellmouth.reading import bytes_of
from tests.fleet import deadly
from tests.fleet.cars import make_fleet


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return make_fleet(tmp_path_factory.mktemp("fleet"))


@pytest.fixture(scope="module")
def alone(fleet: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    out = tmp_path_factory.mktemp("alone") / "findings.parquet"
    return survey([str(fleet[0])], fleet[1], out, workers=0).read()


def test_every_recording_and_every_car_is_a_row(alone: pl.DataFrame) -> None:
    assert alone.columns == list(SCHEMA)
    told = {(row["car"], bool(row["error"])) for row in alone.iter_rows(named=True)}
    assert told == {
        ("van01", False), ("van02", False), ("van03", True), ("van04", True), ("van05", True),
        (None, True),
    }  # fmt: skip
    errors = dict(alone.filter(pl.col("error").is_not_null()).select("car", "error").iter_rows())
    assert "line 2" in errors["van03"]
    assert errors["van05"] == "no recording of this car was given"
    assert errors[None] == "no car in the table claims this recording"


def test_a_row_says_what_find_says(alone: pl.DataFrame, fleet: tuple[Path, Path]) -> None:
    row = alone.filter((pl.col("car") == "van02") & pl.col("error").is_null()).row(0, named=True)
    car = read_cars(fleet[1]).cars["van02"]
    finding = find(read_recording(fleet[0] / "van02" / "tuesday.csv"), car)
    assert row["cause"] == finding.causes[0].cause
    assert row["probability"] == finding.causes[0].probability
    raw = (fleet[0] / "van02" / "tuesday.csv").read_bytes()
    assert row["input_hash"] == hashlib.sha256(raw).hexdigest()
    assert row["present_meter_low"] == pytest.approx(finding.present["meter_low"], abs=1e-12)
    size = next(c for c in finding.causes if c.cause == "meter_low").sizes["meter_low"]
    if row["cause"] == "meter_low":
        assert (row["meter_low_value"], row["meter_low_low"]) == (size.value, size.low)


def test_two_workers_give_the_same_to_the_last_bit(
    alone: pl.DataFrame, fleet: tuple[Path, Path], tmp_path: Path
) -> None:
    seen: list[Progress] = []
    out = tmp_path / "f.parquet"
    two = survey([str(fleet[0])], fleet[1], out, workers=2, tell=seen.append).read()
    assert_frame_equal(two, alone, check_exact=True)
    assert seen[-1].done == seen[-1].total == 3
    assert seen[-1].left_s == 0.0


def test_a_survey_broken_off_is_taken_up_without_doing_work_twice(
    alone: pl.DataFrame, fleet: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "f.parquet"
    judged: list[str] = []

    def counted(tasks: Sequence[Task]) -> list[dict[str, Any]]:
        judged.extend(task.found.path for task in tasks)
        if len(judged) == 2:
            raise KeyboardInterrupt
        return rows_of(tasks)

    monkeypatch.setattr(module, "rows_of", counted)
    monkeypatch.setattr(module, "_BUNDLE_MOST", 1)
    with pytest.raises(KeyboardInterrupt):
        survey([str(fleet[0])], fleet[1], out, workers=0)
    first = list(judged)
    seen: list[Progress] = []
    stood = Findings(out).read().height
    again = survey([str(fleet[0])], fleet[1], out, workers=0, tell=seen.append).read()
    assert_frame_equal(again, alone, check_exact=True)
    assert judged.count(first[0]) == 1
    assert [(one.done, one.total, one.before) for one in seen] == [(1, 2, stood), (2, 2, stood)]


def test_what_lies_there_is_never_overwritten(fleet: tuple[Path, Path], tmp_path: Path) -> None:
    out = tmp_path / "f.parquet"
    survey([str(fleet[0] / "van01_monday.csv")], fleet[1], out, workers=0)
    with pytest.raises(BellmouthError, match="complete already"):
        survey([str(fleet[0] / "van01_monday.csv")], fleet[1], out, workers=0)
    other = tmp_path / "other.parquet"
    other.mkdir()
    with pytest.raises(BellmouthError, match="is no survey of mine"):
        survey([str(fleet[0])], fleet[1], other, workers=0)
    about = Findings(out).about
    about.write_text(json.dumps({**json.loads(about.read_text()), "complete": False}))
    with pytest.raises(BellmouthError, match="a survey with other recordings was begun there"):
        survey([str(fleet[0])], fleet[1], out, workers=0)


def test_a_scheduler_that_is_not_there_is_a_sentence(
    fleet: tuple[Path, Path], tmp_path: Path
) -> None:
    with pytest.raises(BellmouthError, match=r"tcp://127\.0\.0\.1:1: no Dask scheduler answers"):
        survey([str(fleet[0])], fleet[1], tmp_path / "f", scheduler="tcp://127.0.0.1:1")


# Dask leaves its connection to the dead worker to the garbage collector.
@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")
def test_a_worker_that_is_killed_costs_no_recording(
    alone: pl.DataFrame, fleet: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from distributed import Client  # noqa: PLC0415

    monkeypatch.setattr(module, "_BUNDLE_MOST", 1)
    with local_cluster(2) as cluster:
        with Client(cluster) as client:
            workers = client.run(os.getpid)
        killed: list[int] = []

        def kill_one(_: Progress) -> None:
            if not killed:
                killed.append(next(iter(workers.values())))
                os.kill(killed[0], signal.SIGKILL)

        found = survey(
            [str(fleet[0])], fleet[1], tmp_path / "f", scheduler=cluster.scheduler_address,
            tell=kill_one,
        )  # fmt: skip
    assert killed
    assert_frame_equal(found.read(), alone, check_exact=True)


def test_bundles_are_alike_in_bytes_and_begin_with_the_longest(fleet: tuple[Path, Path]) -> None:
    car = read_cars(fleet[1]).cars["van01"]
    sizes = [50_000_000, *([90_000] * 100)]
    tasks = [
        Task(Found(f"{i:03}.csv", size, "m"), "van01", "", car) for i, size in enumerate(sizes)
    ]
    made = bundles(tasks)
    assert [task.found.path for task in made[0]] == ["000.csv"]
    assert sorted(task.found.path for part in made for task in part) == sorted(
        task.found.path for task in tasks
    )
    assert all(sum(t.found.bytes for t in part) <= 8_000_000 for part in made[1:])
    assert max(len(part) for part in made) == 50


@pytest.mark.parametrize(
    ("count", "cores", "number"), [(100, 2, 2), (100, 1, 2), (2000, 2, 20), (300, 8, 8), (3, 8, 3)]
)
def test_every_core_gets_as_many_bundles_of_the_same_weight(
    fleet: tuple[Path, Path], count: int, cores: int, number: int
) -> None:
    car = read_cars(fleet[1]).cars["van01"]
    tasks = [
        Task(Found(f"{i:04}.csv", 30_000 + 37 * i, "m"), "van01", "", car) for i in range(count)
    ]
    made = bundles(tasks, cores)
    assert len(made) == number
    assert sorted(task.found.path for part in made for task in part) == [
        task.found.path for task in tasks
    ]
    assert max(map(len, made)) - min(map(len, made)) <= 1
    assert max(map(len, made)) <= 100
    if count > number:
        weight = [sum(task.found.bytes for task in part) / len(part) for part in made]
        assert max(weight) < 1.02 * min(weight)


def test_units_may_differ_from_file_to_file(fleet: tuple[Path, Path], tmp_path: Path) -> None:
    text = (fleet[0] / "van01_monday.csv").read_text("utf-8")
    header, *rows = text.splitlines()
    at = next(i for i, name in enumerate(header.split(",")) if name == "mass_air_flow [g/s]")
    pounds = [header.replace("mass_air_flow [g/s]", "mass_air_flow [lb/min]")]
    for row in rows:
        cells = row.split(",")
        cells[at] = cells[at] and repr(float(cells[at]) / 7.559872833333333)
        pounds.append(",".join(cells))
    recordings = tmp_path / "recordings"
    recordings.mkdir()
    (recordings / "van01.csv").write_text(text, "utf-8")
    (recordings / "van02.csv").write_text("\n".join(pounds) + "\n", "utf-8")
    (recordings / "van03.csv").write_text(text.replace("[g/s]", "[parsec/s]"), "utf-8")
    table = tmp_path / "cars.csv"
    rows = ["car,displacement_l,metering", *(f"van0{n},2.0,airflow" for n in (1, 2, 3))]
    table.write_text("\n".join(rows) + "\n", "utf-8")
    found = survey([str(recordings)], table, tmp_path / "f", workers=0).read()
    one, two, three = found.sort("car").iter_rows(named=True)
    assert two["cause"] == one["cause"]
    assert two["probability"] == pytest.approx(one["probability"], rel=1e-6)
    assert 'unknown unit "parsec/s"' in three["error"]


def test_addresses_and_partitioned_parquet_give_the_same_figures(
    alone: pl.DataFrame, fleet: tuple[Path, Path], tmp_path: Path
) -> None:
    import fsspec  # noqa: PLC0415

    parquet = pl.read_csv(fleet[0] / "van01_monday.csv", infer_schema_length=None)
    (tmp_path / "car=van01").mkdir()
    parquet.write_parquet(tmp_path / "car=van01" / "0.parquet")
    with fsspec.open("memory://surveyed/car=van01/0.parquet", "wb") as there:
        there.write((tmp_path / "car=van01" / "0.parquet").read_bytes())
    expected = alone.filter(pl.col("recording").str.ends_with("van01_monday.csv"))
    figures = [name for name in SCHEMA if name not in ("recording", "mark", "input_hash")]
    for place, given in enumerate([f"{tmp_path}/car=*/*.parquet", "memory://surveyed"]):
        found = survey([given], fleet[1], tmp_path / f"f{place}", workers=0).read()
        judged = found.filter(pl.col("recording") != "")
        assert_frame_equal(judged.select(figures), expected.select(figures), check_exact=True)


def test_what_is_inside_an_archive_gives_the_same_figures(
    alone: pl.DataFrame, fleet: tuple[Path, Path], tmp_path: Path
) -> None:
    archive = tmp_path / "recordings.zip"
    with zipfile.ZipFile(archive, "w") as whole:
        whole.write(fleet[0] / "van01_monday.csv", "monday/van01_monday.csv")
    expected = alone.filter(pl.col("recording").str.ends_with("van01_monday.csv"))
    figures = [name for name in SCHEMA if name not in ("recording", "mark")]
    given = [f"zip://::{archive}", f"zip://monday/*.csv::file://{archive}"]
    for place, one in enumerate(given):
        found = survey([one], fleet[1], tmp_path / f"f{place}", workers=0).read()
        judged = found.filter(pl.col("recording") != "")
        assert_frame_equal(judged.select(figures), expected.select(figures), check_exact=True)
        assert judged["recording"][0] == f"zip://monday/van01_monday.csv::{one.split('::')[1]}"


def test_a_recording_that_may_not_be_read_is_a_row(
    fleet: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refusing(path: Path) -> bytes:
        if path.name == "van01_monday.csv":
            raise PermissionError(13, "Permission denied", str(path))
        return bytes_of(path)

    # Whoever runs the tests may be allowed everything, so the mode of the file proves nothing.
    monkeypatch.setattr("bellmouth.recording.csv_text.bytes_of", refusing)
    one = str(fleet[0] / "van01_monday.csv")
    found = survey([one], fleet[1], tmp_path / "f", workers=0).read()
    row = found.filter(pl.col("recording") == one).row(0, named=True)
    assert row["error"] == "van01_monday.csv: cannot be read (Permission denied)."


def test_findings_that_cannot_be_kept_are_a_sentence(
    fleet: tuple[Path, Path], tmp_path: Path
) -> None:
    (tmp_path / "a_file").write_text("mine", "utf-8")
    with pytest.raises(BellmouthError, match="findings cannot be kept there"):
        survey([str(fleet[0])], fleet[1], tmp_path / "a_file" / "f", workers=0)
    assert (tmp_path / "a_file").read_text("utf-8") == "mine"


def test_one_that_cannot_be_inferred_costs_no_other(
    alone: pl.DataFrame, fleet: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = solve_many

    def failing(prepared: Sequence[Prepared]) -> list[Case]:
        if len(prepared) != 1:
            raise np.linalg.LinAlgError("Singular matrix")
        return whole(prepared)

    monkeypatch.setattr(rows_module, "solve_many", failing)
    found = survey([str(fleet[0])], fleet[1], tmp_path / "f", workers=0).read()
    assert_frame_equal(found, alone, check_exact=True)


def test_a_recording_that_ends_every_process_is_a_row(
    alone: pl.DataFrame, fleet: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "recordings"
    shutil.copytree(fleet[0], folder)
    shutil.copy(folder / "van01_monday.csv", folder / "van01_deadly.csv")
    monkeypatch.setattr(module, "rows_of", deadly.rows_of)
    found = survey([str(folder)], fleet[1], tmp_path / "f", workers=1)
    assert found.complete
    told = dict(found.read().select(pl.col("recording").str.extract("([^/]+)$"), "error").rows())
    assert told.pop("van01_deadly.csv").startswith("every process that judged this recording ended")
    usual = alone.select(pl.col("recording").str.extract("([^/]+)$"), "error").rows()
    assert told == dict(usual)
