"""``bellmouth card``: prints for people, prints JSON, writes page and sheet; bad input is told."""

import io
import json
from pathlib import Path

import pytest
from pypdf import PdfReader

from bellmouth.pages.document import finding_document, to_json
from tests.cli.conftest import Run
from tests.example_finding import example_finding


@pytest.fixture
def finding(tmp_path: Path) -> Path:
    path = tmp_path / "finding.json"
    path.write_text(to_json(finding_document(example_finding())), "utf-8")
    return path


def test_the_card_follows_from_the_finding(run: Run, car: Path, finding: Path) -> None:
    ran = run("card", "--car", car, "--finding", finding, "--language", "en")
    assert ran.exit_code == 0
    assert "Job card: reseal the leak, relearn the idle" in ran.stdout
    assert "(proposed from the finding)" in ran.stdout
    assert "leak 92" in ran.stdout
    assert ran.stderr == ""


def test_a_recording_is_judged_first(run: Run, car: Path, recording: Path) -> None:
    ran = run("card", "--car", car, "--recording", recording, "--json")
    assert ran.exit_code == 0
    document = json.loads(ran.stdout)
    assert document["found"]
    assert document["proposed"]


def test_chosen_work_needs_no_finding(run: Run, car: Path) -> None:
    ran = run("card", "--car", car, "--work", "relearn", "--work", "clean-plate", "--json")
    assert json.loads(ran.stdout)["work_names"] == ["clean_plate", "relearn"]


def test_the_language_is_the_locales_unless_it_is_given(
    run: Run, car: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("LC_ALL", "LC_MESSAGES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LANG", "de_DE.UTF-8")
    assert "Arbeitskarte" in run("card", "--car", car, "--work", "relearn").stdout
    spoken = run("card", "--car", car, "--work", "relearn", "--language", "en")
    assert "Job card" in spoken.stdout


def test_units_torque_and_bolts_reach_the_card(run: Run, car: Path) -> None:
    ran = run(
        "card", "--car", car, "--work", "renew_gasket", "--work", "relearn", "--units", "us",
        "--torque", "8 N m", "--manual-section", "11-20", "--bolts", "4", "--language", "en",
        "--learning", "P6",
    )  # fmt: skip
    assert ran.exit_code == 0
    assert "°F" in ran.stdout
    assert "8 N m  section 11-20" in ran.stdout
    assert "Throttle adaptation with the ignition on" in ran.stdout


def test_page_and_sheet_are_written_and_replaced(run: Run, car: Path, tmp_path: Path) -> None:
    page, sheet = tmp_path / "card.html", tmp_path / "card.pdf"
    page.write_text("old", "utf-8")
    sheet.write_text("old", "utf-8")
    ran = run(
        "card", "--car", car, "--work", "relearn", "--html", page, "--pdf", sheet,
        "--paper", "letter", "--language", "de", "--overwrite",
    )  # fmt: skip
    assert ran.exit_code == 0
    assert page.read_text("utf-8").startswith("<!DOCTYPE html>")
    assert len(PdfReader(io.BytesIO(sheet.read_bytes())).pages) == 1
    told = ran.stdout.replace("\n", "")
    assert str(page) in told
    assert str(sheet) in told


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "bellmouth: A job card needs a finding or at least one work."),
        (["--work", "clean_plat"], 'bellmouth: No work is called "clean_plat". Did you mean'),
        (["--work", "relearn", "--bolts", "4"], "bellmouth: --bolts is for the throttle's flange"),
        (["--work", "renew_gasket", "--bolts", "5"], "bellmouth: --bolts 5: no drawing for"),
        (
            ["--work", "renew_gasket", "--torque", "hard"],
            'bellmouth: --torque "hard" is not a number',
        ),
        (["--work", "relearn", "--learning", "P99"], 'bellmouth: No procedure is called "P99".'),
        (["--finding", "gone.json"], "bellmouth: gone.json: cannot be read"),
        (["--finding", "a", "--recording", "b"], "bellmouth: Give --finding or --recording, not"),
        (["--work", "relearn", "--language", "fr"], "bellmouth: Invalid value for '--language'"),
        (
            ["--work", "relearn", "--html", "/nowhere/card.html"],
            "bellmouth: /nowhere/card.html: there is no folder /nowhere.",
        ),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(
    run: Run, car: Path, words: list[str], sentence: str
) -> None:
    ran = run("card", "--car", car, *words)
    assert ran.exit_code == 2
    assert ran.stderr.startswith(sentence)
    assert ran.stdout == ""
    assert ran.stderr.count("\n") == 1


def test_a_finding_that_is_none_is_told(run: Run, car: Path, tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    path.write_text("[]", "utf-8")
    ran = run("card", "--car", car, "--finding", path)
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert "x.json: not a finding: it has no list of causes." in ran.stderr
