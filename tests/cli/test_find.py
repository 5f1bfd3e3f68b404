"""``bellmouth find``: prints for people, prints JSON, writes the report."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from bellmouth import find, read_car, read_recording
from bellmouth.pages.document import finding_document, to_json
from bellmouth.pages.words import name_words
from bellmouth.recording.export import write_recording
from tests.cli.conftest import Run


@pytest.fixture(scope="module")
def schema(root: Path) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((root / "docs" / "finding.schema.json").read_text("utf-8"))
    return read


def test_json_is_one_document_on_stdout_and_nothing_else(
    run: Run, recording: Path, car: Path, schema: dict[str, Any]
) -> None:
    ran = run("find", recording, "--car", car, "--json")
    assert ran.exit_code == 0
    document = json.loads(ran.stdout)
    jsonschema.validate(document, schema)
    assert ran.stderr == ""
    assert sum(cause["probability"] for cause in document["causes"]) == pytest.approx(1.0)
    order = [cause["probability"] for cause in document["causes"]]
    assert order == sorted(order, reverse=True)


def test_the_command_and_the_function_agree(run: Run, recording: Path, car: Path) -> None:
    ran = run("find", recording, "--car", car, "--json")
    finding = find(read_recording(recording), read_car(car))
    assert ran.stdout.strip() == to_json(finding_document(finding))


def test_a_finding_for_people_names_its_top_cause(run: Run, recording: Path, car: Path) -> None:
    shown = run("find", recording, "--car", car).stdout
    top = json.loads(run("find", recording, "--car", car, "--json").stdout)["causes"][0]["cause"]
    assert name_words(top) in shown
    assert "\nTo confirm\n" in shown  # so sure that hardly anything is left to tell


def test_a_report_is_written_beside_the_finding(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    page = tmp_path / "out.html"
    ran = run("find", recording, "--car", car, "--report", page)
    assert ran.exit_code == 0
    assert page.read_text("utf-8").startswith("<!DOCTYPE html>")
    assert str(page) in ran.stdout.replace("\n", "")


def test_a_report_leaves_the_json_alone(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    page = tmp_path / "out.html"
    ran = run("find", recording, "--car", car, "--json", "--report", page)
    json.loads(ran.stdout)
    assert page.exists()


def test_the_complaint_sets_the_prior(run: Run, recording: Path, car: Path) -> None:
    def prior(*words: str) -> dict[str, float]:
        ran = run("find", recording, "--car", car, "--json", *words)
        weights: dict[str, float] = json.loads(ran.stdout)["prior"]
        return weights

    assert prior("--complaint", "none")["healthy"] > prior("--complaint", "high idle")["healthy"]


def test_a_prior_of_ones_own_is_used(run: Run, recording: Path, car: Path, tmp_path: Path) -> None:
    own = tmp_path / "prior.toml"
    own.write_text("healthy = 1\ndeposit = 3\n", "utf-8")
    ran = run("find", recording, "--car", car, "--json", "--prior", own)
    document = json.loads(ran.stdout)
    assert document["prior"]["deposit"] == pytest.approx(0.75)
    assert {cause["cause"] for cause in document["causes"]} == {"healthy", "deposit"}


def test_the_result_of_a_check_moves_the_finding(run: Run, recording: Path, car: Path) -> None:
    def leak(*words: str) -> float:
        ran = run("find", recording, "--car", car, "--json", *words)
        assert ran.exit_code == 0, ran.stderr
        return float(json.loads(ran.stdout)["present"]["leak"])

    assert leak("--result", "smoke_test=none") < leak() < leak("--result", "smoke_test=seen") + 1e-9


def test_a_reference_is_read(run: Run, recording: Path, car: Path, tmp_path: Path) -> None:
    title, *lines = recording.read_text("utf-8").splitlines()[:-20]
    apart = tmp_path / "earlier.csv"  # slower, so that it is no piece of the other one
    slower = [f"{1.013 * float(t):.3f},{rest}" for t, rest in (one.split(",", 1) for one in lines)]
    apart.write_text("\n".join([title, *slower]), "utf-8")
    ran = run("find", recording, "--car", car, "--json", "--reference", apart)
    assert ran.exit_code == 0
    json.loads(ran.stdout)


def test_more_recordings_of_the_car_are_judged_together(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    title, *lines = recording.read_text("utf-8").splitlines()
    later = tmp_path / "later.csv"  # slower, so that it is no piece of the other one
    slower = [f"{1.013 * float(t):.3f},{rest}" for t, rest in (one.split(",", 1) for one in lines)]
    later.write_text("\n".join([title, *slower]), "utf-8")
    alone, both = (
        json.loads(run("find", recording, "--car", car, "--json", *words).stdout)
        for words in ((), ("--also", later))
    )
    assert both["causes"] != alone["causes"]
    again = run("find", recording, "--car", car, "--also", recording)
    assert again.exit_code == 2
    assert "is the same recording as" in again.stderr


def test_a_piece_of_the_recording_cannot_be_its_reference(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    piece = tmp_path / "piece.csv"
    piece.write_text("\n".join(recording.read_text("utf-8").splitlines()[:-20]), "utf-8")
    ran = run("find", recording, "--car", car, "--reference", piece)
    assert ran.exit_code == 2
    assert "samples as recording.csv; the two are cut from one and overlap. As ref" in ran.stderr


def test_a_recording_cannot_be_its_own_reference(run: Run, recording: Path, car: Path) -> None:
    ran = run("find", recording, "--car", car, "--reference", recording)
    assert ran.exit_code == 2
    assert "is the same recording as recording.csv. As reference give" in ran.stderr


def test_a_check_made_again_counts_again(run: Run, recording: Path, car: Path) -> None:
    told = ("--result", "smoke_test=none", "--result", "smoke_test=seen")
    ran = run("find", recording, "--car", car, *told)
    assert ran.exit_code == 0
    said = " ".join(ran.stdout.split())
    assert "Smoke test: made 2 times, it contradicts itself (none, seen)." in said
    ran = run("find", recording, "--car", car, *4 * told)
    assert ran.exit_code == 2
    assert "given 8 times, at most 6 are counted" in ran.stderr


def test_what_a_recording_notes_of_loads_can_be_taken_back(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    noted = tmp_path / "noted.parquet"
    write_recording(replace(read_recording(recording), loads_off=True), noted)

    def off(*words: str) -> bool:
        ran = run("find", noted, "--car", car, "--json", *words)
        assert ran.exit_code == 0, ran.output
        return any("every load was off" in one for one in json.loads(ran.stdout)["warnings"])

    assert [off(), off("--loads-off"), off("--loads-on")] == [True, True, False]


def test_checks_are_listed(run: Run) -> None:
    ran = run("checks")
    assert ran.exit_code == 0
    assert "smoke_test" in ran.stdout
    assert "Caution" in ran.stdout
    assert "Again, with more care" in ran.stdout


def test_a_mapping_is_read(run: Run, recording: Path, car: Path, tmp_path: Path) -> None:
    text = recording.read_text("utf-8").replace("engine_speed [rpm]", "Drehzahl", 1)
    named = tmp_path / "named.csv"
    named.write_text(text, "utf-8")
    mapping = tmp_path / "map.toml"
    mapping.write_text('[columns]\n"Drehzahl" = "engine_speed [rpm]"\n', "utf-8")
    mapped = json.loads(run("find", named, "--car", car, "--json", "--mapping", mapping).stdout)
    plain = json.loads(run("find", recording, "--car", car, "--json").stdout)
    assert mapped["causes"] == plain["causes"]


def test_a_plain_finding_loads_no_drawing_library(recording: Path, car: Path) -> None:
    script = (
        "import sys\nfrom bellmouth.cli import main\n"
        f"try:\n    main(['find', {str(recording)!r}, '--car', {str(car)!r}])\n"
        "except SystemExit as end:\n    assert not end.code, end.code\n"
        "print('\\n'.join(sys.modules), file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    assert set(ran.stderr.split()).isdisjoint({"matplotlib", "pint", "jinja2", "rich.progress"})


def test_no_more_is_loaded_for_another_language(recording: Path, car: Path) -> None:
    script = (
        "import sys\nfrom bellmouth.cli import main\n"
        f"try:\n    main(['find', {str(recording)!r}, '--car', {str(car)!r}, '--language', 'de'])\n"
        "except SystemExit as end:\n    assert not end.code, end.code\n"
        "print('\\n'.join(sys.modules), file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    loaded = set(ran.stderr.split())
    assert loaded.isdisjoint({"matplotlib", "pint", "jinja2", "fastapi", "bellmouth.practice"})
    assert "bellmouth.pages.sentences" not in loaded


def test_the_installed_command_runs_in_a_narrow_terminal(recording: Path, car: Path) -> None:
    ran = subprocess.run(
        [Path(sys.executable).with_name("bellmouth"), "find", recording, "--car", car],
        check=True, capture_output=True, text=True,
        env={**os.environ, "COLUMNS": "60", "NO_COLOR": "1"},
    )  # fmt: skip
    assert "\x1b" not in ran.stdout
    assert max(map(len, ran.stdout.splitlines())) <= 60
    assert ran.stderr == ""


def test_a_reader_that_has_seen_enough_is_no_error(recording: Path, car: Path) -> None:
    command = Path(sys.executable).with_name("bellmouth")
    ran = subprocess.run(
        ["bash", "-c", f"'{command}' find '{recording}' --car '{car}' --json | true"],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert ran.stderr == ""
