"""The history only grows, agrees with itself, and is the same on both databases."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from bellmouth import BellmouthError, read_recording
from bellmouth.book import Book
from bellmouth.book.entries import KINDS, effective
from bellmouth.book.opening import writing
from bellmouth.errors import BookError
from bellmouth.recording.series import Recording, Series
from tests.book.made import CAR, DEMO, NUMBER, Clock, a_full_car


def test_an_entry_of_every_kind_comes_back_as_it_was(book: Book, photo: Path) -> None:
    a_full_car(book, photo)
    history = book.history("blue one")
    assert {entry.kind for entry in history.entries} == set(KINDS)
    assert [entry.number for entry in history.entries] == list(range(1, 12))
    assert {entry.job for entry in history.entries if entry.kind != "car"} == {2}
    attempt = next(entry for entry in history.entries if entry.kind == "attempt")
    assert attempt.document == {
        "procedure": "idle-air",
        "judgement": "met",
        "margins_s": [0.4, -0.1],
    }
    assert history.entries[1].distance_km == 84_000.0
    assert history.entries[1].on_date == "2026-03-01"
    assert all(entry.software.startswith("bellmouth ") for entry in history.entries)


def test_a_recording_comes_back_sample_for_sample(book: Book) -> None:
    book.add_car("blue one", CAR)
    kept = book.add_recording("blue one", DEMO / "recording.csv")
    assert kept.files[0].startswith("recordings/")
    again, original = (
        book.recording("blue one", kept.number),
        read_recording(DEMO / "recording.csv"),
    )
    assert list(again.series) == list(original.series)
    for name, series in original.series.items():
        assert (again.series[name].value == series.value).all()
        assert (again.series[name].time_s == series.time_s).all()
    assert (again.source, again.notes, again.dropped) == (
        original.source, original.notes, original.dropped,
    )  # fmt: skip


def test_when_a_car_woke_comes_back_on_its_own_clock(book: Book) -> None:
    book.add_car("blue one", CAR)
    time_s = np.concatenate([np.arange(0.0, 10.0, 0.1), np.arange(20.0, 30.0, 0.1)])
    speed = Series("engine_speed", "rpm", time_s, np.full(time_s.size, 700.0))
    recording = Recording(
        {"engine_speed": speed}, "live", begins_s=5.0, woken=((3.0, 3.4), (24.6, 24.9))
    )
    again = book.recording("blue one", book.add_recording("blue one", recording).number)
    assert again.begins_s == 5.0
    # Awake at the first sample at the latest; what came before any sample is not kept.
    assert [list(one) for one in again.woken] == [pytest.approx([24.6, 25.0])]


@pytest.mark.parametrize("first", ["0,,1", "0,99999,1"], ids=["foreign column", "left out"])
def test_a_recording_whose_first_row_holds_nothing_is_kept(
    book: Book, tmp_path: Path, first: str
) -> None:
    book.add_car("blue one", CAR)
    path = tmp_path / "a.csv"
    rows = "".join(f"{n / 10},{700 + n % 3},1\n" for n in range(1, 60))
    path.write_text(f"time [s],engine_speed [rpm],own\n{first}\n{rows}")
    kept = book.add_recording("blue one", path)
    assert book.recording("blue one", kept.number).same_samples(read_recording(path))


def test_a_correction_is_a_new_entry_that_points_at_the_old(book: Book) -> None:
    book.add_car("blue one", CAR)
    first = book.add("blue one", "note", {"text": "left bank"})
    second = book.add("blue one", "note", {"text": "right bank"}, corrects=first.number)
    third = book.add("blue one", "note", {"text": "both banks"}, corrects=second.number)
    entries = book.history("blue one").entries
    assert entries[first.number - 1].document == {"text": "left bank"}
    notes = [entry for entry in effective(entries) if entry.kind == "note"]
    assert [note.number for note in notes] == [third.number]


@pytest.mark.parametrize("statement", ["UPDATE entry SET document = '{}'", "DELETE FROM entry"])
def test_the_database_itself_refuses_to_forget(book: Book, statement: str) -> None:
    book.add_car("blue one", CAR)
    with pytest.raises(DBAPIError, match=r"only grows"), writing(book.engine) as connection:
        connection.execute(sa.text(statement))
    assert len(book.history("blue one").entries) == 1


def test_what_is_known_of_a_car_is_corrected_by_a_new_entry(book: Book) -> None:
    book.add_car("blue one", CAR, kind="two litre")
    book.change_car("blue one", kind="two litre, late", new_name="blue two")
    assert book.standing("blue two").kind == "two litre, late"
    assert [entry.document["name"] for entry in book.history("blue two").entries] == [
        "blue one", "blue two",
    ]  # fmt: skip
    with pytest.raises(BookError, match=r"no such car in .*Did you mean blue two\?"):
        book.history("blue one")


def test_two_cars_never_share_a_name(book: Book) -> None:
    book.add_car("blue one", CAR)
    book.add_car("red one", CAR)
    with pytest.raises(BookError, match=r"blue one: is in the book already. Choose another name."):
        book.add_car("blue one", CAR)
    with pytest.raises(BookError, match=r"blue one: is another car"):
        book.change_car("red one", new_name="blue one")


def test_the_odometer_does_not_run_backwards(book: Book) -> None:
    book.add_car("blue one", CAR)
    first = book.open_job("blue one", distance_km=84_000.0)
    with pytest.raises(
        BookError,
        match=r"48000 km is less than the 84000 km of job 2 \(2026-03-01\): an odometer does not "
        r"run backwards. If that one was wrong, correct it first",
    ):
        book.open_job("blue one", distance_km=48_000.0)
    assert len(book.history("blue one").entries) == 2
    book.open_job("blue one", distance_km=44_000.0, corrects=first.number)
    book.open_job("blue one", distance_km=48_000.0)
    assert book.standing("blue one").last_km == 48_000.0
    with pytest.raises(BookError, match=r"50000 km is more than the 48000 km of the job after it"):
        book.open_job("blue one", distance_km=50_000.0, corrects=first.number)


def test_the_clock_does_not_run_backwards(book: Book, clock: Clock) -> None:
    book.add_car("blue one", CAR)
    book.open_job("blue one")
    clock.pass_days(-30)
    with pytest.raises(BookError, match=r"The clock says 2026-01-30T09:0.* Set the computer's"):
        book.add("blue one", "note", {"text": "x"})
    with pytest.raises(BookError, match=r"2026-01-30 is before the last job \(job 2, on 2026-03"):
        book.open_job("blue one")
    assert len(book.history("blue one").entries) == 2


def test_two_clocks_a_minute_apart_still_keep_the_order(local: Book, clock: Clock) -> None:
    first = local.add_car("blue one", CAR)
    clock.pass_days(-1 / 1440)
    second = local.add("blue one", "note", {"text": "x"})
    assert second.made_at == first.made_at


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        ("2026-02-30", "no date. Write it like"),
        ("2027-01-01", "is in the future"),
        ("1026-01-05", "is before any car that a book is for"),
    ],
)
def test_a_day_that_cannot_be_is_refused(local: Book, day: str, sentence: str) -> None:
    local.add_car("blue one", CAR)
    with pytest.raises(BookError, match=sentence):
        local.open_job("blue one", on=day)


@pytest.mark.parametrize(
    ("name", "options", "sentence"),
    [
        ("", {}, "cannot be a car's name"),
        ("x" * 81, {}, "cannot be a car's name"),
        ("a\nb\x00", {}, "cannot be a car's name"),
        ("x", {"identification": "?!"}, "is no identification number"),
        (f"car {NUMBER}", {"identification": NUMBER}, "would show the identification number"),
        ("x", {"keep_until": "soon"}, "no date"),
        ("x", {"car": {"displacement_l": 2.0}}, "metering is missing"),
    ],
)
def test_a_car_that_cannot_be_is_refused(
    local: Book, name: str, options: dict[str, object], sentence: str
) -> None:
    described = {"car": CAR, **options}
    with pytest.raises(BellmouthError, match=sentence):
        local.add_car(name, described.pop("car"), **described)  # type: ignore[arg-type]
    assert local.cars() == ()


@pytest.mark.parametrize(
    ("document", "sentence"),
    [({"x": float("nan")}, "must be plain JSON"), ({"x": {1, 2}}, "must be plain JSON")],
)
def test_a_document_that_is_not_plain_is_refused(
    book: Book, document: dict[str, object], sentence: str
) -> None:
    book.add_car("blue one", CAR)
    with pytest.raises(BookError, match=sentence):
        book.add("blue one", "note", document)
    assert len(book.history("blue one").entries) == 1


def test_an_odd_text_comes_back_as_it_was(book: Book) -> None:
    book.add_car("blue one", CAR)
    odd = {"text": "nul \x00, surrogate \ud800, über \u202e and 🚗", "": [], "deep": [[[{}]]]}
    book.add("blue one", "note", odd)
    assert book.history("blue one").entries[-1].document == odd


def test_an_entry_of_an_unknown_kind_or_job_is_refused(local: Book) -> None:
    local.add_car("blue one", CAR)
    with pytest.raises(BookError, match=r"opinion: no such entry. Entries are recording, finding"):
        local.add("blue one", "opinion", {})
    with pytest.raises(BookError, match=r"There is no entry 9"):
        local.add("blue one", "note", {}, job=9)
    note = local.add("blue one", "note", {})
    with pytest.raises(BookError, match=r"Entry 2 is a note, not a card"):
        local.add("blue one", "card", {}, corrects=note.number)


_WRITER = """
import sys
from bellmouth.book.store import Store
with Store(sys.argv[1]) as store:
    for turn in range(int(sys.argv[3])):
        store.add("blue one", "note", {"by": sys.argv[2], "turn": turn})
"""


def test_two_processes_write_at_once(book: Book, where: str | Path) -> None:
    with Book(where) as now:
        now.add_car("blue one", CAR)
    writers = [
        subprocess.Popen([sys.executable, "-c", _WRITER, str(where), who, "10"], env=os.environ)
        for who in ("one", "two")
    ]
    assert [writer.wait(timeout=120) for writer in writers] == [0, 0]
    notes = book.history("blue one").entries[1:]
    assert [note.number for note in notes] == list(range(2, 22))
    for who in ("one", "two"):
        mine = [note.document["turn"] for note in notes if note.document["by"] == who]
        assert mine == list(range(10))
    assert book.standing("blue one").entries == 21
    assert book.check().problems == ()


def test_a_second_correction_of_a_job_keeps_the_first(local: Book) -> None:
    local.add_car("blue one", CAR)
    job = local.open_job("blue one", distance_km=142_000.0, complaint="high idle").number
    local.open_job("blue one", distance_km=124_000.0, corrects=job)
    told = local.open_job("blue one", complaint="rough idle", corrects=job)
    assert (told.distance_km, told.document["complaint"]) == (124_000.0, "rough idle")


def test_the_number_of_a_job_s_correction_means_that_job(local: Book) -> None:
    local.add_car("blue one", CAR)
    job = local.open_job("blue one", distance_km=142_000.0).number
    correction = local.open_job("blue one", distance_km=124_000.0, corrects=job).number
    assert local.add("blue one", "note", {"text": "oil mist"}, job=correction).job == job
