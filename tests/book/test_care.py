"""Backup while in use, a check that finds damage, deleting for good."""

import re
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
import sqlalchemy as sa

from bellmouth.book import Book, tables
from bellmouth.book.digests import digest
from bellmouth.book.opening import writing
from bellmouth.errors import BookError
from tests.book.made import CAR, DEMO, NUMBER, a_finding, a_full_car


def test_a_backup_is_a_whole_book(local: Book, photo: Path, tmp_path: Path) -> None:
    a_full_car(local, photo)
    folder = local.back_up(tmp_path / "backup")
    local.add("blue one", "note", {"text": "after"})
    with Book(folder, make=False) as copy:
        assert copy.check().problems == ()
        assert copy.history("blue one").entries == local.history("blue one").entries[:-1]
    with pytest.raises(BookError, match=r"is not empty. Name a new folder for the backup"):
        local.back_up(folder)


_BUSY = """
import sys
from bellmouth.book.store import Store
with Store(sys.argv[1]) as store:
    print("begun", flush=True)
    turn = 0
    while True:
        store.add("blue one", "note", {"turn": turn})
        turn += 1
"""


def test_a_backup_while_somebody_writes(local: Book, tmp_path: Path) -> None:
    local.add_car("blue one", CAR)
    words = [sys.executable, "-c", _BUSY, str(tmp_path / "book")]
    with subprocess.Popen(words, stdout=subprocess.PIPE) as writer:
        try:
            assert writer.stdout is not None
            writer.stdout.readline()
            while len(local.history("blue one").entries) < 5:
                assert writer.poll() is None
            folder = local.back_up(tmp_path / "backup")
        finally:
            writer.kill()
    with Book(folder, make=False) as copy:
        assert copy.check().problems == ()
        turns = [entry.document["turn"] for entry in copy.history("blue one").entries[1:]]
    assert turns == list(range(len(turns)))
    assert len(turns) >= 4


def test_a_server_s_backup_is_left_to_pg_dump(
    database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BELLMOUTH_BOOK_FILES", str(tmp_path / "files"))
    with Book(database) as book:
        book.add_car("blue one", CAR)
        folder = book.back_up(tmp_path / "backup")
        assert (folder / "book.dump").read_bytes()[:5] == b"PGDMP"
        monkeypatch.setenv("PATH", "")
        with pytest.raises(BookError, match=r"pg_dump is not installed here"):
            book.back_up(tmp_path / "second")


def test_a_check_finds_what_is_damaged_missing_and_loose(local: Book, photo: Path) -> None:
    a_full_car(local, photo)
    recording, picture = sorted(local.files.folder.glob("*/*.*"), reverse=True)[:2]
    assert recording.suffix == ".parquet"
    raw = bytearray(recording.read_bytes())
    raw[100] ^= 1
    recording.write_bytes(bytes(raw))
    picture.unlink()
    loose = local.files.keep("photos", b"left by a crash", "jpg")
    health = local.check()
    assert [re.sub(".*(recordings|photos).*: ", "", one) for one in health.problems] == [
        "is missing. Put it back from a backup.", "is damaged. Put it back from a backup.",
    ]  # fmt: skip
    assert health.loose == (loose,)
    local.check(sweep=True)
    assert local.check().loose == ()
    with pytest.raises(BookError, match=r"is damaged. Put it back from a backup"):
        local.recording("blue one", 3)


def test_deleting_for_good_leaves_nothing_behind(book: Book, photo: Path) -> None:
    a_full_car(book, photo)
    book.add_car("red one", CAR)
    taken = book.would_delete("blue one")
    assert (taken.entries, len(taken.files)) == (11, 2)
    assert book.history("blue one").entries
    assert book.delete("blue one") == taken
    assert [one.name for one in book.cars()] == ["red one"]
    assert book.files.names() == set()
    assert book.check().problems == ()
    if book.place.database is not None:
        left = b"".join(path.read_bytes() for path in book.place.files.glob("book.db*"))
        assert NUMBER.encode() not in left
        assert b"oil mist" not in left


def test_what_two_cars_share_stays_for_the_other(local: Book) -> None:
    for name in ("blue one", "red one"):
        local.add_car(name, CAR)
        local.add_recording(name, DEMO / "recording.csv")
    assert local.delete("blue one").files == ()
    assert local.recording("red one", 2).series
    assert len(local.delete("red one").files) == 1


def test_the_cars_past_their_day_are_known(local: Book) -> None:
    local.add_car("old one", CAR, keep_until=date(2026, 2, 28))
    local.add_car("last day", CAR, keep_until="2026-03-01")
    local.add_car("for ever", CAR)
    assert local.expired() == ("old one",)
    with pytest.raises(BookError, match=r"no such car"):
        local.delete("no one")


def test_an_entry_whose_file_was_deleted_meanwhile_is_refused(local: Book) -> None:
    local.add_car("blue one", CAR)
    kept = local.files.keep("photos", b"x", "jpg")
    local.files.remove(kept)
    with pytest.raises(BookError, match=r"was deleted meanwhile. Add it again"):
        local.add("blue one", "photo", {}, files=[kept])


@pytest.mark.parametrize(
    ("column", "value"),
    [("document", '{"text": "oil'), ("document", "[" * 100_000), ("document", "7"),
     ("made_at", "yesterday"), ("on_date", "2026-02-30"), ("distance_km", b"x"),
     ("kind", "nota"), ("model", b"x")],
)  # fmt: skip
def test_an_entry_that_was_changed_is_named(local: Book, column: str, value: object) -> None:
    local.add_car("blue one", CAR)
    local.add("blue one", "note", {"text": "oil"})
    with writing(local.engine) as connection:
        for (name,) in connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).all():
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        connection.exec_driver_sql("PRAGMA ignore_check_constraints = ON")
        update = f"UPDATE entry SET {column} = ? WHERE number = 2"  # noqa: S608 - our own words
        connection.exec_driver_sql(update, (value,))
    with pytest.raises(BookError, match=r"Entry 2 \(\w+\) cannot be read any more: the book is"):
        local.history("blue one")
    assert any("entry 2" in problem for problem in local.check().problems)


def _past_the_triggers(book: Book, *statements: str) -> None:
    """What a book refuses, as some other program would do it."""
    with writing(book.engine) as connection:
        if book.place.database is None:
            connection.exec_driver_sql("SET session_replication_role = replica")
        else:
            for table in ("entry", "entry_file"):
                connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {table}_stays")
                connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {table}_kept")
        for statement in statements:
            connection.exec_driver_sql(statement)


@pytest.mark.parametrize(
    ("changed", "entry"),
    [
        ("entry SET distance_km = 34000 WHERE number = 2", "2 (job)"),
        ("entry SET on_date = '2026-02-01' WHERE number = 2", "2 (job)"),
        ("entry SET document = replace(document, 'high', 'low') WHERE number = 2", "2 (job)"),
        ("entry SET document = replace(document, '7.5', '2.5') WHERE number = 4", "4 (finding)"),
        ("entry SET document = document || ' ' WHERE number = 9", "9 (note)"),
        ("entry SET corrects = NULL WHERE number = 10", "10 (note)"),
        ("entry SET digest = NULL WHERE number = 5", "5 (work)"),
        ("entry_file SET name = 'photos/' || name WHERE number = 11", "11 (photo)"),
    ],
)
def test_a_number_that_something_else_changed_is_named(
    book: Book, photo: Path, changed: str, entry: str
) -> None:
    a_full_car(book, photo)
    assert book.check().problems == ()
    _past_the_triggers(book, f"UPDATE {changed}")
    named = [one for one in book.check().problems if "not as it was written" in one]
    assert [one.partition(" is not")[0] for one in named] == [f"blue one, entry {entry}"]


def test_entries_of_an_archive_have_their_checksums(
    book: Book, local: Book, photo: Path, tmp_path: Path
) -> None:
    a_full_car(local, photo)
    local.export("blue one", tmp_path / "car.zip", with_identification=True)
    book.import_(tmp_path / "car.zip")
    assert book.check().problems == ()
    query = sa.select(tables.entry.c.digest).order_by(tables.entry.c.number)
    found = []
    for one in (local, book):
        with writing(one.engine) as connection:
            found.append(connection.execute(query).scalars().all())
    assert found[0] == found[1]
    assert len(set(found[0])) == 11


def test_a_checksum_is_what_it_was() -> None:
    """Other numbers would call every book changed that was written before. (sha256sum of the parts
    as JSON, written out by hand.)"""
    row = {
        "number": 2, "kind": "job", "made_at": "2026-03-01T09:00:02.000+00:00", "job": 2,
        "corrects": None, "on_date": "2026-03-01", "distance_km": 84_000, "software": "bellmouth 1",
        "model": None, "input_hash": None, "document": '{"complaint":"high idle"}', "digest": "x",
    }  # fmt: skip
    expected = "278811ce2dd4f614ecbdd178c765c503"
    assert digest(row, ["photos/a.jpg"]).startswith(expected)
    assert digest({**row, "distance_km": 84_000.0}, ("photos/a.jpg",)).startswith(expected)
    assert digest({**row, "document": b"\xff"}, []) != digest(row, [])


def _removed(book: Book, where: str) -> None:
    _past_the_triggers(
        book,
        *(f"DELETE FROM {table} WHERE {where}" for table in ("entry_file", "entry")),  # noqa: S608
    )


def test_entries_that_something_else_removed_are_named(book: Book, photo: Path) -> None:
    a_full_car(book, photo)
    _removed(book, "number >= 11")
    assert book.check().problems == (
        "blue one: its entry 11 is missing. Something else than a book has removed it. Put back a "
        "backup, and keep this one for whoever helps.",
    )
    # What is written afterwards does not cover it up.
    assert book.add("blue one", "note", {"text": "after"}).number == 12
    _past_the_triggers(book, "DELETE FROM entry WHERE number IN (5, 6, 7)")
    assert "its entries 5 to 7, 11 are missing." in book.check().problems[0]


def test_files_of_removed_entries_are_not_swept_away(book: Book, photo: Path) -> None:
    a_full_car(book, photo)
    _removed(book, "number >= 11")
    loose = book.check().loose
    assert len(loose) == 1
    with pytest.raises(BookError, match=r"may be theirs: nothing was removed"):
        book.check(sweep=True)
    assert book.check().loose == loose


def test_an_older_book_put_back_lacks_nothing(local: Book, photo: Path, tmp_path: Path) -> None:
    a_full_car(local, photo)
    folder = local.back_up(tmp_path / "backup")
    local.add("blue one", "note", {"text": "after"})
    local.add_car("red one", CAR)
    local.close()
    shutil.copy(folder / "book.db", tmp_path / "book" / "book.db")
    with Book(tmp_path / "book", make=False) as older:
        assert older.check().problems == ()
        assert older.add("blue one", "note", {"text": "again"}).number == 12


def test_a_car_without_its_first_entries_or_its_place_in_the_lists(book: Book) -> None:
    book.add_car("blue one", CAR)
    _removed(book, "number = 1")
    with pytest.raises(BookError, match=r"^blue one: the entry that says what is known of it is"):
        book.history("blue one")
    assert "its entry 1 is missing." in book.check().problems[0]
    _past_the_triggers(book, "DELETE FROM standing")
    assert book.check().problems[0].startswith("A car of 2026-03-01 is in no list any more: some")


def test_what_is_left_of_a_car_can_be_handed_over(
    book: Book, local: Book, photo: Path, tmp_path: Path
) -> None:
    a_full_car(local, photo)
    _removed(local, "number IN (3, 8)")
    local.export("blue one", tmp_path / "car.zip", with_identification=True)
    assert book.import_(tmp_path / "car.zip").entries == local.history("blue one").entries
    assert "its entries 3, 8 are missing. Some" in book.check().problems[0]


def test_a_backup_holds_what_is_whole_and_says_what_is_not(
    local: Book, photo: Path, tmp_path: Path
) -> None:
    a_full_car(local, photo)
    recording = local.files.path(local.history("blue one").entries[2].files[0])
    recording.unlink()
    with pytest.raises(
        BookError,
        match=r"holds the whole book but for files that are missing or damaged here \(1\)",
    ):
        local.back_up(tmp_path / "copy")
    with Book(tmp_path / "copy") as copy:
        assert copy.history("blue one") == local.history("blue one")
        assert copy.check().problems == (
            f"{copy.files.path(f'recordings/{recording.name}')}: is missing. Put it back from a "
            "backup.",
        )
    (tmp_path / "file").write_text("x", "utf-8")
    with pytest.raises(BookError, match=r"file: is a file. Name a new folder for the backup."):
        local.back_up(tmp_path / "file")


def test_what_is_refused_leaves_no_file(local: Book, photo: Path) -> None:
    local.add_car("blue one", CAR)
    kept = local.add_photo("blue one", photo).files[0]
    for add in (local.add_photo, local.add_recording):
        what = photo if add == local.add_photo else DEMO / "recording.csv"
        with pytest.raises(BookError, match="there is no such car"):
            add("bleu one", what)
        with pytest.raises(BookError, match="There is no entry 9"):
            add("blue one", what, job=9)
    assert local.check().loose == ()
    assert local.files.names() == {kept}


def test_a_damaged_car_costs_its_own_forecast_alone(local: Book) -> None:
    for name in ("blue one", "red one"):
        local.add_car(name, CAR, kind="two litre")
        for km in (40_000.0, 60_000.0):
            local.open_job(name, distance_km=km)
            local.add(name, "finding", a_finding(km / 10_000.0, 1.0))
    with writing(local.engine) as connection:
        connection.execute(sa.text("DROP TRIGGER entry_stays"))
        connection.execute(
            sa.text("UPDATE entry SET document = '{' WHERE car_id = 2 AND kind = 'finding'")
        )
    local.add("blue one", "work", {"done": ["reseal"]})
    assert local.forecast("blue one") is not None
    with pytest.raises(BookError, match=r"^red one: Entry 3 \(finding\) cannot be read any more"):
        local.spreads()
