"""Backup while in use, a check that finds damage, deleting for good."""

import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from bellmouth.book import Book
from bellmouth.errors import BookError
from tests.book.made import CAR, DEMO, NUMBER, a_full_car


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
