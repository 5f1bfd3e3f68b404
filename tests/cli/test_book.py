"""``bellmouth book``: every word of it, each test on a copy of one filled book."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from bellmouth.book import Book
from bellmouth.cli import main
from bellmouth.recording import read_recording
from bellmouth.recording.export import write_recording
from tests.book.made import NUMBER, a_photo
from tests.cli.conftest import Run

Words = Callable[..., str]


def _on(place: Path) -> Words:
    """Run a word of ``bellmouth book`` on a book, and give what it prints."""

    def typed(*words: str | Path, code: int = 0) -> str:
        result = CliRunner().invoke(main, ["book", "--book", str(place), *map(str, words)])
        assert result.exit_code == code, result.output + result.stderr
        assert "Traceback" not in result.output
        return result.stdout + result.stderr

    return typed


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo as a telephone takes it."""
    return a_photo(tmp_path_factory.mktemp("photo") / "photo.jpg")


@pytest.fixture(scope="module")
def filled(
    tmp_path_factory: pytest.TempPathFactory, car: Path, recording: Path, photo: Path
) -> Path:
    """A book that was filled by typing, with an entry of every kind but a proof."""
    folder = tmp_path_factory.mktemp("cli")
    card = folder / "card.json"
    card.write_text('{"works": ["reseal"], "tally": 0}', "utf-8")
    attempt = folder / "attempt.json"
    attempt.write_text('{"procedure": "idle-air", "judgement": "met"}', "utf-8")
    words = _on(folder / "book")
    said = words("car", "blue one", "--file", car, "--identification", NUMBER)
    assert said.startswith("blue one: begun in ")
    assert "corrected (entry 2)" in words("car", "blue one", "--kind", "1.6 litres")
    said = words(
        "open", "blue one", "--distance", "40000mi", "--on", "2024-03-01", "--complaint",
        "rough idle",
    )  # fmt: skip
    assert said == "blue one: job 3 opened, 2024-03-01, 64,374 km.\n"
    assert "recording added as entry 4" in words("add", "blue one", "recording", recording)
    assert "finding added as entry 5: leak, " in words("add", "blue one", "finding")
    assert "work added as entry 6" in words("add", "blue one", "work", "clean_plate", "reseal")
    words("add", "blue one", "card", card)
    words("add", "blue one", "attempt", attempt)
    assert "note added as entry 9" in words("add", "blue one", "note", "oil", "mist", NUMBER)
    words("add", "blue one", "photo", photo, "--text", "the bore")
    said = words("add", "blue one", "note", "no oil mist", "--corrects", "9")
    assert "note added as entry 11" in said
    return folder / "book"


@pytest.fixture
def place(filled: Path, tmp_path: Path) -> Path:
    """A copy of the filled book."""
    return Path(shutil.copytree(filled, tmp_path / "book"))


@pytest.fixture
def words(place: Path) -> Words:
    """Run a word of ``bellmouth book`` on the copy."""
    return _on(place)


def test_there_is_no_book_yet(tmp_path: Path) -> None:
    said = _on(tmp_path / "none")("show", code=2)
    assert "there is no book yet. Begin one with: bellmouth book car" in said
    assert not (tmp_path / "none").exists()


def test_a_car_needs_its_file_and_a_correction_something_to_correct(words: Words) -> None:
    assert "Begin it with --file car.toml" in words("car", "new one", code=2)
    assert "Say what to correct" in words("car", "blue one", code=2)


def test_an_odometer_may_have_its_thousands_marked(words: Words) -> None:
    for typed in ("142.000", "142,000", "142 000 km"):
        assert ", 142,000 km" in words("open", "blue one", "--distance", typed)


def test_a_recording_may_be_told_to_be_without_loads(
    words: Words, place: Path, recording: Path
) -> None:
    assert "how a recording was made" in words(
        "add", "blue one", "note", "x", "--loads-off", code=2
    )
    said = words("add", "blue one", "recording", recording, "--loads-off")
    number = int(said.partition("as entry ")[2].split(".")[0])
    with Book(place) as book:
        assert book.recording("blue one", number).loads_off
        assert not book.recording("blue one", 4).loads_off


def test_what_a_recording_notes_of_loads_can_be_taken_back(
    words: Words, place: Path, recording: Path, tmp_path: Path
) -> None:
    assert "--loads-on says how a recording" in words(
        "add", "blue one", "note", "x", "--loads-on", code=2
    )
    noted = tmp_path / "noted.parquet"
    write_recording(replace(read_recording(recording), loads_off=True), noted)
    for typed, off in (((), True), (("--loads-on",), False)):
        said = words("add", "blue one", "recording", noted, *typed)
        with Book(place) as book:
            number = int(said.partition("as entry ")[2].split(".")[0])
            assert book.recording("blue one", number).loads_off is off


def test_a_job_that_cannot_be_is_said(words: Words) -> None:
    assert "is no distance" in words("open", "blue one", "--distance", "fast", code=2)
    words("open", "blue one", "--complaint", "purple", code=2)
    assert "an odometer does not run backwards" in words(
        "open", "blue one", "--distance", "9000", code=2
    )
    assert "is before the last job" in words("open", "blue one", "--on", "2023-01-01", code=2)
    said = words("open", "blue one", "--distance", "60000", "--corrects", "3")
    assert "job 3 corrected (entry 12), 2024-03-01, 60,000 km" in said
    said = words("open", "blue one", "--distance", "70000km")
    assert "The last job (3) was on 2024-03-01. If this one is its comeback: " in said
    again = said.split('bellmouth book open "blue one" ')[1].split()
    assert "corrected" in words("open", "blue one", *again)
    assert "0 of 1 job came back within 90 days" in words("comebacks")
    assert json.loads(words("comebacks", "--json"))["every"]["cases"] == 1
    assert "Nobody has read one car twice" in words("readings")
    assert "is no earlier job" in words("open", "blue one", "--comeback-of", "99", code=2)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (("work", "renew_gasket", "--gasket", "kept"), "contradict each other"),
        (("note", "x", "--gasket", "new"), "--gasket goes with work"),
        (("note", "x", "--by", "ann"), "--by says who made a recording"),
    ],
)
def test_who_and_which_gasket_belong_to_work(
    words: Words, typed: tuple[str, ...], sentence: str
) -> None:
    assert sentence in words("add", "blue one", *typed, code=2)


def test_a_new_gasket_follows_from_the_work(words: Words) -> None:
    words("add", "blue one", "work", "renew_gasket", "--by", "ann")
    groups = json.loads(words("comebacks", "--json"))
    assert "new" in [one["name"] for one in groups["gaskets"]]
    assert "ann" in [one["name"] for one in groups["persons"]]


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (("opinion", "x"), "'opinion' is not one of"),
        (("note",), "A note needs its text"),
        (("work", "polish"), "What was done is one or more of clean_plate"),
        (("card",), "A card needs one file, not 0"),
        (("recording", "nowhere.csv"), "nowhere.csv"),
        (("photo", "nowhere.jpg"), "nowhere.jpg: no such file or directory"),
        (("proof",), "a proof needs a recording before and one after"),
        (("note", "x", "--job", "4"), "There is no entry 4"),
        (("note", "x", "--corrects", "4"), "Entry 4 is a recording, not a note"),
        (("finding", "--of", "5"), "Entry 5 is a finding, not a recording"),
        (("finding", "--of", "4", "--of", "4"), "A finding is of one recording: give --of once"),
        (("proof", "--of", "4"), "A proof is of two recordings, before and after: give --of twice"),
        (("proof", "--of", "98", "--of", "99"), "There is no entry 98"),
        (("proof", "--also", "4"), "--also goes with a finding, not with a proof"),
        (("note", "x", "--of", "4"), "--of goes with a finding or proof, not with a note"),
        (("note", "x", "--result", "smoke_test=none"), "--result goes with a finding or proof"),
    ],
)
def test_what_cannot_be_added_is_said(words: Words, typed: tuple[str, ...], sentence: str) -> None:
    assert sentence in words("add", "blue one", *typed, code=2)


def test_a_finding_that_is_handed_over_must_come_out_again(
    words: Words, run: Run, recording: Path, car: Path, tmp_path: Path
) -> None:
    found = run("find", recording, "--car", car, "--complaint", "rough idle", "--json").stdout
    path = tmp_path / "finding.json"
    path.write_text(found, "utf-8")
    assert "finding added as entry 12: leak" in words("add", "blue one", "finding", path)
    other = json.loads(found)
    other["causes"][0]["probability"] = 0.5
    path.write_text(json.dumps(other), "utf-8")
    said = words("add", "blue one", "finding", path, code=2)
    assert "finding.json: is not what the recordings of the book give (causes[1].prob" in said
    path.write_text('{"complaint": "rough idle"}', "utf-8")
    said = words("add", "blue one", "finding", path, code=2)
    assert "finding.json: is not whole, it has no causes. Give it as --json prints it" in said
    path.write_text("[1]", "utf-8")
    assert "not a JSON document with names" in words("add", "blue one", "finding", path, code=2)
    path.write_text("{", "utf-8")
    assert "finding.json: not a JSON document" in words("add", "blue one", "card", path, code=2)


def test_a_page_shows_everything_but_the_number(words: Words) -> None:
    said = words("show", "blue one")
    for text in ("blue one (1.6 litres)", "ABCDE6GH*********", "Job 3: 2024-03-01, 64,374 km",
                 "leak, over 99 %", "clean_plate, reseal", "no oil mist (instead of 9)",
                 "(corrected later)", "the bore", "Inspect at about"):  # fmt: skip
        assert text in said
    assert NUMBER not in said
    assert NUMBER in words("show", "blue one", "--with-identification")
    page = json.loads(words("show", "blue one", "--json"))
    assert page["identification"] == "ABCDE6GH*********"
    assert [entry["number"] for entry in page["entries"]] == list(range(1, 12))
    assert page["entries"][8]["corrected"]
    assert "blue one" in words("show")
    assert json.loads(words("show", "--json"))["cars"][0]["jobs"] == 1
    assert "Did you mean blue one?" in words("show", "blu one", code=2)


def test_a_forecast_is_told_drawn_and_listed(words: Words, tmp_path: Path) -> None:
    said = words("forecast", "blue one")
    assert "blue one: Inspect the throttle plate at about " in said
    assert "nine in ten" in said
    for ending, mark in (("svg", b"<svg"), ("png", b"PNG")):
        path = tmp_path / f"x.{ending}"
        words("forecast", "blue one", "--picture", path)
        assert mark in path.read_bytes()[:400]
    assert "x.gif: a picture ends in" in words(
        "forecast", "blue one", "--picture", tmp_path / "x.gif", code=2
    )
    document = json.loads(words("forecast", "blue one", "--json", "--level", "6"))
    assert document["level_mm2"] == 6.0
    assert "blue one" in words("due")
    listed = json.loads(words("due", "--json"))["due"]
    assert listed[0]["due"]["advice"] == "inspect"
    assert "No car is due" in words("due", "--before", "2020-01-01")


def test_a_finding_is_made_again(words: Words) -> None:
    said = words("recompute", "blue one")
    assert said == "Entry 5 (finding): the same.\n"
    document = json.loads(words("recompute", "blue one", "5", "--json"))
    assert document["recomputed"][0]["same"]


def test_a_car_goes_out_and_comes_in(words: Words, run: Run, tmp_path: Path) -> None:
    archive = tmp_path / "blue.zip"
    assert "with 2 recordings and photos" in words("export", "blue one", archive)
    assert "is there already" in words("export", "blue one", archive, code=2)
    assert "in the book already; nothing was imported" in words("import", archive, code=2)
    result = run("book", "--book", tmp_path / "other", "import", archive)
    assert "blue one: 11 entries imported." in result.stdout
    said = run("book", "--book", tmp_path / "other", "recompute", "blue one").stdout
    assert said.count("the same") == 1


def test_the_book_is_backed_up_and_checked(words: Words, run: Run, tmp_path: Path) -> None:
    words("backup", tmp_path / "backup")
    assert "is not empty" in words("backup", tmp_path / "backup", code=2)
    said = run("book", "--book", tmp_path / "backup", "check")
    assert said.stdout == "1 car, 11 entries: the book is whole.\n"
    next((tmp_path / "backup" / "photos").glob("*")).unlink()
    next((tmp_path / "backup" / "recordings").glob("*")).unlink()
    again = run("book", "--book", tmp_path / "backup", "recompute", "blue one")
    assert again.exit_code == 1
    assert "Entry 5 (finding): CANNOT be made again.\n" in again.stdout
    assert "is missing" in again.stdout
    said = run("book", "--book", tmp_path / "backup", "check")
    assert said.exit_code == 1
    assert "is missing. Put it back from a backup" in said.stdout
    assert "NOT whole" in said.stdout


def test_a_car_is_deleted_for_good(words: Words, place: Path) -> None:
    assert "Name the car, or say --expired" in words("delete", code=2)
    assert "No car's keep-until day is past" in words("delete", "--expired")
    words("car", "blue one", "--keep-until", "2020-01-01")
    kept = words("delete", "--expired", code=1)
    assert "12 entries and 2 files would be deleted" in kept
    assert kept.endswith("Nothing was deleted.\n")
    assert "deleted for good" in words("delete", "--expired", "--yes")
    assert words("show") == "No car is in the book yet.\n"
    assert list(place.glob("*/*.parquet")) == []


def test_cars_are_due_before_a_day(words: Words) -> None:
    assert "blue one" in words("due", "--before", "2090-01-01")
    assert "'31.12.2026' is no date. Write it like" in words(
        "due", "--before", "31.12.2026", code=2
    )


def test_a_name_that_is_no_text_is_no_car(words: Words) -> None:
    assert "there is no such car" in words("show", "caf\udce9", code=2)


def test_nothing_to_forecast_is_a_no(words: Words, car: Path) -> None:
    words("car", "new one", "--file", car)
    assert "nothing can be forecast yet" in words("forecast", "new one", code=1)
    assert words("recompute", "new one") == "new one: no findings yet.\n"


def test_the_place_comes_from_the_environment(
    run: Run, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BELLMOUTH_BOOK", str(place))
    assert "blue one" in run("book", "show").stdout
    monkeypatch.setenv("BELLMOUTH_BOOK", "sqlite:///x")
    assert "a book is a folder, or a PostgreSQL database" in run("book", "show").stderr


def test_every_word_has_its_help(run: Run) -> None:
    listed = run("book", "--help").stdout
    for word in ("car", "open", "add", "show", "due", "forecast", "recompute", "export", "import",
                 "backup", "check", "delete"):  # fmt: skip
        assert f"\n  {word} " in listed
        assert f"bellmouth book {word}" in run("book", word, "--help").stdout.replace(
            "main", "bellmouth"
        )


def test_a_share_of_few_jobs_is_no_number(words: Words) -> None:
    assert "0 of 1 job came back within 90 days: too few to tell (0 to " in words("comebacks")
