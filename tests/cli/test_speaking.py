"""Language and units of what commands print: the same options, the locale; JSON for machines."""

import ast
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from bellmouth.car import COMPLAINTS, parse_complaint
from bellmouth.cli import main, speaking
from bellmouth.pages.card_catalogue import LANGUAGES, messages
from bellmouth.pages.card_words import Words
from tests.cli.conftest import Run
from tests.english import METRIC, left_english

SPEAKING = (
    "find", "check", "prove", "record", "demo", "causes", "checks", "codes", "monitors", "clear",
)  # fmt: skip
#: Typed letter for letter, and file names, in what the tests below print.
TYPED = {"none", "seen", "find", "recording"}


def option(command: str, name: str) -> click.Option:
    found = main.get_command(click.Context(main), command)
    assert found is not None
    (one,) = [each for each in found.params if each.name == name]
    assert isinstance(one, click.Option)
    return one


@pytest.fixture
def german_locale(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("LC_ALL", "LC_MESSAGES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LANG", "de_DE.UTF-8")


@pytest.mark.parametrize("command", SPEAKING)
@pytest.mark.parametrize("name", ["language", "units"])
def test_the_options_are_the_cards(command: str, name: str) -> None:
    ours, cards = option(command, name), option("card", name)
    assert isinstance(ours.type, click.Choice)
    assert isinstance(cards.type, click.Choice)
    assert (ours.opts, list(ours.type.choices), ours.default) == (
        cards.opts, list(cards.type.choices), cards.default,
    )  # fmt: skip
    assert ours.help is not None
    assert cards.help is not None
    if name == "units":
        assert ours.help == cards.help
    else:
        assert list(ours.type.choices) == list(LANGUAGES)
        assert "; left out, the locale's, else English." in ours.help


@pytest.mark.parametrize("command", ["demo", "causes", "checks", "check"])
@pytest.mark.usefixtures("german_locale")
def test_the_locale_decides_unless_a_language_is_given(
    run: Run, command: str, recording: Path
) -> None:
    words = [command, recording] if command == "check" else [command]
    german = run(*words)
    assert (german.exit_code, german.stdout) == (0, run(*words, "--language", "de").stdout)
    english = run(*words, "--language", "en").stdout
    assert left_english(german.stdout, {"leak", *TYPED}) <= {"low", "high", "nothing"}
    assert left_english(english) >= {"the"}


@pytest.mark.parametrize("locale", ["C", "POSIX", "C.UTF-8", "en_US.UTF-8", "xx_XX"])
def test_the_plain_locale_is_english_and_metric(
    run: Run, monkeypatch: pytest.MonkeyPatch, recording: Path, locale: str
) -> None:
    monkeypatch.setenv("LC_ALL", locale)
    told = run("check", recording).stdout
    assert "can be used" in told
    assert "29 to 92 kPa" in told


@pytest.mark.parametrize("width", ["60", "80"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_german_finding_fits_and_is_german(
    run: Run, monkeypatch: pytest.MonkeyPatch, recording: Path, car: Path, units: str, width: str
) -> None:
    monkeypatch.setenv("COLUMNS", width)
    told = run("find", recording, "--car", car, "--language", "de", "--units", units).stdout
    assert max(map(len, told.splitlines())) <= int(width)
    assert left_english(told, TYPED) == set()
    assert bool(METRIC.search(" ".join(told.split()))) is (units == "metric")


def test_us_units_are_in_english_too(run: Run, recording: Path, car: Path) -> None:
    told = run("find", recording, "--car", car, "--units", "us").stdout
    assert "0.063 in (0.059 to 0.067)" in told
    assert not METRIC.search(" ".join(told.split()))
    assert "°F" in run("check", recording, "--units", "us").stdout


def test_the_page_is_in_the_language_and_units_of_the_terminal(
    run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    page = tmp_path / "out.html"
    words = ("--language", "de", "--units", "us", "--report", page)
    told = run("find", recording, "--car", car, *words).stdout
    assert f"Bericht mit Bildern: {page} (im Browser öffnen)" in told
    html = page.read_text("utf-8")
    assert '<html lang="de"' in html
    assert "0,063\u00a0in" in html
    assert "OUTCOME ist none (keine) oder seen (gesehen)." in html
    assert not METRIC.search(html.split("</style>")[1])
    plain = tmp_path / "plain.html"
    run("demo", "--report", plain)
    assert '<html lang="en"' in plain.read_text("utf-8")


def test_json_is_english_and_si_whatever_is_chosen(run: Run, recording: Path, car: Path) -> None:
    chosen = ("--language", "de", "--units", "us")
    for words in (
        ("find", recording, "--car", car, "--json"), ("check", recording, "--json"),
        ("demo", "--json"),
    ):  # fmt: skip
        told: Any = json.loads(run(*words, *chosen).stdout)
        assert told == json.loads(run(*words).stdout)


def test_the_answer_no_is_no_in_every_language(run: Run, tmp_path: Path) -> None:
    short = tmp_path / "short.csv"
    rows = [f"{at / 2},{700 + at % 3}" for at in range(8)]
    short.write_text("\n".join(["time [s],engine_speed [rpm]", *rows]), "utf-8")
    for language, words in (("en", "cannot be used"), ("de", "ist nicht brauchbar")):
        ran = run("check", short, "--language", language)
        assert ran.exit_code == 1
        assert f"short.csv {words}" in ran.stdout


@pytest.mark.parametrize("complaint", COMPLAINTS)
def test_a_complaint_can_be_typed_as_a_german_finding_calls_it(complaint: str) -> None:
    """A German warning says which complaint to give."""
    assert parse_complaint(Words("de").text(complaint)) == complaint


@pytest.mark.parametrize("encoding", ["ascii", "iso8859-1"])
@pytest.mark.parametrize("command", ["demo", "causes", "checks"])
def test_a_terminal_of_few_signs_gets_question_marks_and_no_traceback(
    command: str, encoding: str
) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "bellmouth", command, "--language", "de"],
        check=False, capture_output=True, env={**os.environ, "PYTHONIOENCODING": encoding},
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (0, b"")
    told = ran.stdout.decode(encoding)
    assert "?" in told if encoding == "ascii" else re.search("[äöü]", told)


def test_another_language_is_refused(run: Run) -> None:
    ran = run("causes", "--language", "fr")
    assert ran.exit_code == 2
    assert "'fr' is not one of 'en', 'de'" in ran.stderr


def _speaking_sources() -> list[tuple[str, ast.Module]]:
    """The commands that are handed their reader's words, as syntax trees."""
    folder = Path(speaking.__file__).parent
    found = [(path.name, path.read_text("utf-8")) for path in sorted(folder.glob("*.py"))]
    return [
        (name, ast.parse(text)) for name, text in found
        if name != "speaking.py" and 'speak: "Words"' in text
    ]  # fmt: skip


def _called(tree: ast.Module, *names: str) -> Iterator[ast.expr]:
    """The first argument of each call of one of these."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in names and node.args:
            yield node.args[0]


def test_what_a_command_says_itself_is_in_the_catalogue() -> None:
    known = set(messages())
    sources = _speaking_sources()
    assert len(sources) > len(SPEAKING)
    for name, tree in sources:
        for said in _called(tree, "speak.text", "speak.told"):
            if isinstance(said, ast.Constant):
                assert said.value in known, name


def test_no_command_says_a_sentence_of_its_own_past_the_words() -> None:
    for name, tree in _speaking_sources():
        for said in _called(tree, "click.echo", "waiting", "click.prompt"):
            parts = said.values if isinstance(said, ast.JoinedStr) else [said]
            texts = [part.value for part in parts if isinstance(part, ast.Constant)]
            assert not any(re.search("[A-Za-z]{2}", str(text)) for text in texts), name


@pytest.mark.parametrize(
    "words",
    [
        ["procedures"], ["procedures", "show", "idle-air-learning-by-pedal"],
        ["procedures", "show", "running-idle-two-stints"],
        ["procedures", "plan", "clean_plate", "battery_disconnected"],
        ["practice", "--fault", "leak", "--size", "2.5", "--done", "clean_plate", "--seconds",
         "0.1", "--tell"],
    ],
)  # fmt: skip
def test_other_commands_speak_german_too(run: Run, words: list[str]) -> None:
    told = run(*words, "--language", "de")
    assert told.exit_code == 0, told.output
    # What is typed: names of procedures, and commands to copy, which are indented.
    kept = [one for one in told.stdout.splitlines() if not one.startswith("  bellmouth")]
    bare = re.sub(r"[a-z]+(-[a-z]+)+", "", "\n".join(kept))
    assert left_english(bare) == set()
    assert told.stdout != run(*words, "--language", "en").stdout


def test_a_conversion_says_in_german_what_it_leaves_behind(
    run: Run, tmp_path: Path, recording: Path
) -> None:
    told = run("convert", recording, tmp_path / "b.parquet", "--language", "de").stdout
    assert "13 Messwerte, " in told


def test_a_group_and_its_commands_take_the_language(run: Run) -> None:
    plan = ["plan", "battery_disconnected"]
    german = run("procedures", *plan, "--language", "de").stdout
    assert run("procedures", "--language", "de", *plan).stdout == german
    assert "Verlangt durch: Batterie abgeklemmt" in " ".join(german.split())


def test_a_book_is_read_in_german_and_its_names_stay(
    run: Run, tmp_path: Path, recording: Path, car: Path
) -> None:
    """The name and the note are English, and somebody's own."""
    name, note = "the blue one", "idle is high on cold days"

    def said(*words: str | Path) -> str:
        ran = run("book", "--book", tmp_path / "book", *words, "--language", "de")
        assert ran.exit_code in (0, 1), ran.output
        return ran.stdout.replace(name, "").replace(note, "").replace(str(tmp_path), "")

    told = [
        said("car", name, "--file", car),
        said("open", name, "--distance", "142000", "--complaint", "rough idle"),
        said("add", name, "recording", recording),
        said("add", name, "finding"),
        said("add", name, "work", "clean_plate"),
        said("add", name, "note", note),
        *(said(*words) for words in (["show"], ["show", name], ["due"], ["forecast", name])),
        *(said(one) for one in ("comebacks", "readings", "check")),
        said("recompute", name), said("open", name),
        said("export", name, tmp_path / "out.zip"), said("backup", tmp_path / "kept"),
    ]  # fmt: skip
    for one in told[:-3]:
        assert left_english(one, {"recording", "recordings", "by"}) == set(), one
    assert "1 Auto, 6 Einträge: das Buch ist in Ordnung." in told[12]
    assert f"„{name}“ steht im Buch." in run(
        "book", "--book", tmp_path / "book", "car", name, "--language", "de"
    ).stderr  # fmt: skip


def test_a_survey_is_told_in_german(run: Run, tmp_path: Path, recording: Path) -> None:
    here = tmp_path / "rec"
    here.mkdir()
    for one in ("x", "y"):
        (here / f"{one}.csv").write_bytes(recording.read_bytes() + b"\n" * (one == "y"))
    (here / "z.csv").write_text("x\n", "utf-8")
    cars = tmp_path / "cars.csv"
    rows = [f"{one},1.6,airflow,the one" for one in "xyz"]
    cars.write_text("\n".join(["car,displacement_l,metering,family", *rows]), "utf-8")
    out = tmp_path / "f.parquet"
    page = tmp_path / "s.html"
    asked = ["survey", here, "--cars", cars, "--out", out, "--report", page]
    ran = run(*asked, "--language", "de")
    assert '<html lang="de"' in page.read_text("utf-8")
    assert "2 Aufzeichnungen von 2 Autos beurteilt, 1 Zeile ohne Befund." in ran.stdout
    told, without, _ = ran.stdout.partition("Ohne Befund")
    assert without
    assert left_english(told.replace("the one", "")) == set()
    ran = run("family", "learn", here, "--cars", cars, "-o", tmp_path / "x", "--language", "de")
    assert "Familie „the one“: 2 Autos zum Lernen" in ran.stderr
