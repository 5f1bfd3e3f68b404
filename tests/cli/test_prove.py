"""``bellmouth prove``: verdict, exit codes, one document, a page."""

import json
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from bellmouth.practice.polling import write_csv
from bellmouth.recording.export import write_recording
from bellmouth.recording.series import Recording
from bellmouth.recording.steady import stretches
from tests.cli.conftest import Run
from tests.finding.worked import healthy, meter_reads_low


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("pair")
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        _write(recording, made / recording.source)
    (made / "car.toml").write_text('displacement_l = 2.0\nmetering = "airflow"\n', "utf-8")
    return made


def _write(recording: Recording, path: Path) -> None:
    write_csv(recording, path)


def test_better_leaves_with_zero_and_one_document(run: Run, folder: Path, root: Path) -> None:
    ran = run(
        "prove", folder / "before.csv", folder / "after.csv", "--car", folder / "car.toml",
        "--done", "clean_meter", "--json",
    )  # fmt: skip
    assert ran.exit_code == 0, ran.output
    document: dict[str, Any] = json.loads(ran.stdout)
    jsonschema.validate(document, json.loads((root / "docs" / "proof.schema.json").read_text()))
    assert document["verdict"] == "better"
    assert {"cause", "before", "after", "change"} <= set(document["changes"][0])
    assert ran.stderr == ""


def test_worse_leaves_with_one_and_says_so_in_words(run: Run, folder: Path, tmp_path: Path) -> None:
    page = tmp_path / "proof.html"
    ran = run(
        "prove", folder / "after.csv", folder / "before.csv", "--car", folder / "car.toml",
        "--report", page,
    )  # fmt: skip
    assert ran.exit_code == 1
    assert "Worse: something is wrong now that was not before" in ran.stdout
    assert "meter low" in ran.stdout
    html = page.read_text("utf-8")
    assert html.count("<svg") == 2
    assert "http" not in html.split("</style>")[1].replace("http://www.w3.org", "")


def test_the_same_file_twice_is_one_sentence(run: Run, folder: Path) -> None:
    one = folder / "after.csv"
    ran = run("prove", one, one, "--car", folder / "car.toml")
    assert ran.exit_code == 2
    assert "is the same recording as" in ran.stderr
    assert ran.stderr.count("\n") == 1


def test_an_unknown_work_is_one_sentence(run: Run, folder: Path) -> None:
    ran = run("prove", folder / "before.csv", folder / "after.csv", "--car", folder / "car.toml",
              "--done", "polish")  # fmt: skip
    assert ran.exit_code == 2
    assert 'work "polish" is not known' in ran.stderr


@pytest.mark.parametrize(
    ("typed", "taken"),
    [((), [False, True]), (("--loads-off",), [True, True]), (("--loads-on",), [False, False])],
)
def test_whether_loads_were_off_is_told_of_both(
    run: Run, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    typed: tuple[str, ...], taken: list[bool],
) -> None:  # fmt: skip
    judged: dict[str, bool] = {}

    def seen(one: Recording) -> object:
        judged[one.source] = one.loads_off
        return stretches(one)

    monkeypatch.setattr(import_module("bellmouth.finding.prove"), "stretches", seen)
    after = tmp_path / "after.parquet"
    write_recording(replace(healthy(), loads_off=True), after)
    ran = run("prove", folder / "before.csv", after, "--car", folder / "car.toml", *typed)
    assert ran.exit_code in (0, 1), ran.output
    assert [judged["before.csv"], judged["after.parquet"]] == taken
