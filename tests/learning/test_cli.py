"""``bellmouth judge`` and ``bellmouth procedures`` at the command line."""

import json
import re
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

from bellmouth.cli import main
from bellmouth.practice.polling import write_csv
from tests.learning.made import idle_air, recorded

Run = Callable[..., Result]


@pytest.fixture
def run() -> Run:
    def typed(*words: str | Path) -> Result:
        return CliRunner().invoke(main, [str(word) for word in words])

    return typed


@pytest.fixture
def attempt(tmp_path: Path) -> tuple[Path, Path]:
    """A good attempt as CSV, and its marks."""
    made = idle_air()
    write_csv(recorded(made), tmp_path / "attempt.csv")
    (tmp_path / "marks.json").write_text(json.dumps(made.marks), "utf-8")
    return tmp_path / "attempt.csv", tmp_path / "marks.json"


def test_a_met_procedure_is_zero_and_one_document(run: Run, attempt: tuple[Path, Path]) -> None:
    recording, marks = attempt
    result = run("judge", recording, "--procedure", "P4", "--marks", marks, "--json")
    assert result.exit_code == 0
    document = json.loads(result.output)
    assert document["procedure"] == "idle-air-learning-by-pedal"
    assert document["judgement"] == "met"
    line = document["steps"][3]
    assert line["step"] == "wait"
    assert set(line["measured"]) == {"value", "low", "high"}
    assert line["window"] == [6.5, 7.5]
    assert line["unit"] == "s"
    assert document["steps"][0]["window"] == [10.0, None]
    assert document["conditions"][0]["condition"] == "no_leak"
    assert document["advice"]


@pytest.mark.parametrize("change", [{}, {"wait_s": 5.0}, {"presses": 4}, {"idle_s": 9.0}])
def test_every_document_follows_the_schema(
    run: Run, tmp_path: Path, root: Path, change: dict[str, float]
) -> None:
    schema = json.loads((root / "docs" / "judgement.schema.json").read_text("utf-8"))
    write_csv(recorded(idle_air(**change)), tmp_path / "a.csv")  # type: ignore[arg-type]
    for name in ("P2", "P4", "P9"):
        result = run("judge", tmp_path / "a.csv", "--procedure", name, "--json")
        jsonschema.validate(json.loads(result.output), schema)


def test_a_missed_one_is_one_and_names_the_step(run: Run, tmp_path: Path) -> None:
    made = idle_air(wait_s=5.5)
    write_csv(recorded(made), tmp_path / "a.csv")
    result = run("judge", tmp_path / "a.csv", "--procedure", "P4")
    assert result.exit_code == 1
    assert "Idle air learning by pedal pattern: missed" in result.output
    assert "-1.00 s" in result.output or "-1.0" in result.output
    assert "common practice, no source" in result.output


def test_what_cannot_be_told_is_one_too(run: Run, attempt: tuple[Path, Path]) -> None:
    result = run("judge", attempt[0], "--procedure", "P4", "--manual-checked", "--json")
    assert result.exit_code == 1
    assert json.loads(result.output)["judgement"] == "cannot tell"


def test_a_file_of_the_user_s_own(run: Run, attempt: tuple[Path, Path], tmp_path: Path) -> None:
    text = (files("bellmouth.learning") / "packs" / "idle-air-learning-by-pedal.toml").read_text()
    own = tmp_path / "own.toml"
    own.write_text(text.replace("about = 7, tolerance = 0.5", "least = 8"), "utf-8")
    result = run("judge", attempt[0], "--procedure", own, "--marks", attempt[1], "--json")
    assert result.exit_code == 1
    assert json.loads(result.output)["judgement"] == "missed"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("judge", "--procedure", "P4"), "Give a recording REC, --marks FILE, or both."),
        (("judge", "gone.csv", "--procedure", "P4"), "gone.csv: cannot be read"),
        (("judge", "gone.csv", "--procedure", "P99"), 'No procedure is called "P99".'),
        (("judge", "gone.csv", "--procedure", "own.toml"), "own.toml: cannot be read"),
        (("procedures", "show", "P99"), 'No procedure is called "P99".'),
        (("procedures", "check", "gone.toml"), "gone.toml: cannot be read"),
        (("procedures", "plan", "waxed"), 'Work "waxed" is not known.'),
        (("procedures", "plan", "throttle_cleaned", "--skip", "P3"), "write NAME=REASON"),
    ],
)
def test_bad_input_is_two_and_one_sentence(
    run: Run, words: tuple[str, ...], sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*words)
    assert result.exit_code == 2
    assert sentence in result.output
    assert "Traceback" not in result.output


def test_marks_that_are_no_json(run: Run, attempt: tuple[Path, Path], tmp_path: Path) -> None:
    (tmp_path / "bad.json").write_text("lamp", "utf-8")
    result = run("judge", attempt[0], "--procedure", "P4", "--marks", tmp_path / "bad.json")
    assert result.exit_code == 2
    assert "bad.json: not a JSON file" in result.output


def test_the_list_shows_all_and_that_they_are_off(run: Run) -> None:
    result = run("procedures")
    assert result.exit_code == 0
    assert "idle-air-learning-by-pedal" in result.output
    assert "common practice, no source" in " ".join(result.output.split())
    listed = json.loads(run("procedures", "--json").output)["procedures"]
    assert len(listed) >= 14


def test_one_in_full(run: Run) -> None:
    result = run("procedures", "show", "P8")
    assert result.exit_code == 0
    text = " ".join(result.output.split())
    assert "The clock stops when the cooling fan starts, until the cooling fan stops." in text
    assert "If anything feels wrong: Pedal up, key off, wait 10 s." in text


def test_a_file_is_checked(run: Run, tmp_path: Path) -> None:
    text = (files("bellmouth.learning") / "packs" / "throttle-closed-position.toml").read_text()
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    result = run("procedures", "check", tmp_path / "mine.toml")
    assert result.exit_code == 0
    assert "can be met" in result.output
    (tmp_path / "mine.toml").write_text(text.replace("least = 10, aim", "leest = 10, aim"), "utf-8")
    result = run("procedures", "check", tmp_path / "mine.toml")
    assert result.exit_code == 2
    line = next(n for n, row in enumerate(text.splitlines(), 1) if "least = 10, aim" in row)
    assert f'line {line}, step "key_off": lasts_s: unknown key leest.' in result.output


def test_a_plan(run: Run) -> None:
    result = run("procedures", "plan", "throttle_cleaned", "--done", "P3", "--json")
    assert result.exit_code == 0
    planned = json.loads(result.output)["plan"]
    assert [item["covered"] for item in planned] == ["Done.", ""]
    assert "1 Throttle closed position" in run("procedures", "plan", "throttle_cleaned").output


def test_a_judgement_is_german_where_that_is_wanted(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_csv(recorded(idle_air(wait_s=5.5)), tmp_path / "a.csv")
    words = ("judge", tmp_path / "a.csv", "--procedure", "P4")
    text = " ".join(run(*words, "--language", "de").output.split())
    for told in (
        "Leerlaufluft anlernen mit Pedalfolge: verfehlt", "Schritt für Schritt",
        "4 Warten", "6,5 bis 7,5 s", "Was gelten musste", "Was jetzt zu tun ist",
        "Schritt 4, Warten", "Dieser Ablauf ist üblich, ohne Quelle.",
    ):  # fmt: skip
        assert told in text
    english = re.compile(r"\b(the|and|not|key|step|wait|missed|met|window|recorded)\b", re.I)
    assert english.findall(text) == []
    monkeypatch.setenv("LC_ALL", "de_DE.UTF-8")
    assert " ".join(run(*words).output.split()) == text
    document = json.loads(run(*words, "--json").output)
    assert document["judgement"] == "missed"


def test_steps_go_by_their_words_and_number(run: Run, tmp_path: Path) -> None:
    write_csv(recorded(idle_air(wait_s=5.5)), tmp_path / "a.csv")
    text = " ".join(run("judge", tmp_path / "a.csv", "--procedure", "P4").output.split())
    assert "4 Wait" in text
    assert "Repeat it. Missed: step 4, Wait (5.5 s, 1.0 s too short: 6.5 to 7.5 s)" in text


def test_no_attempt_is_said_once_and_a_wrong_mark_with_its_file(run: Run, tmp_path: Path) -> None:
    (tmp_path / "m.json").write_text('{"lamp_blinks": 40.0}', "utf-8")
    text = run("judge", "--procedure", "P4", "--marks", tmp_path / "m.json").output
    assert text.count("No attempt found.") == 1
    (tmp_path / "m.json").write_text('{"lamp_blinkz": 40.0}', "utf-8")
    result = run("judge", "--procedure", "P4", "--marks", tmp_path / "m.json")
    assert result.exit_code == 2
    assert 'm.json, mark "lamp_blinkz" means nothing in' in result.output
