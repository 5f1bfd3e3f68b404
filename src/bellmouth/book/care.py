"""Looking after a book: a backup while it is in use, a check, and deleting for good."""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from bellmouth.book import tables
from bellmouth.book.digests import digest
from bellmouth.book.entries import document_in, is_whole
from bellmouth.book.files import Files
from bellmouth.book.gone import entries_gone
from bellmouth.book.loose import remove_unnamed
from bellmouth.book.opening import reading, writing
from bellmouth.book.store import Store
from bellmouth.errors import BookError

__all__ = ["Deleted", "Health", "back_up", "check", "delete", "expired", "would_delete"]

# Children before parents.
_OF_A_CAR = (tables.entry_file, tables.entry, tables.standing)


@dataclass(frozen=True)
class Health:
    """What a check found. ``loose`` files belong to no entry: a crash left them, or a deletion
    was cut short; ``check(sweep=True)`` removes them."""

    cars: int
    entries: int
    problems: tuple[str, ...]
    loose: tuple[str, ...]


@dataclass(frozen=True)
class Deleted:
    """What deleting a car takes away: how many entries, and the files no other car has."""

    name: str
    entries: int
    files: tuple[str, ...]


def check(store: Store, *, sweep: bool = False) -> Health:
    """Whether the database is whole and every entry and file is there as it was written.

    Raises
    ------
    BookError
        If files are to be swept where entries are missing, whose files they may be.
    """
    with store.told(), reading(store.engine) as connection:
        gone = list(entries_gone(connection))
        problems = [*_integrity(connection), *gone, *_documents(connection)]
        name = tables.entry_file.c.name
        query = sa.select(name).where(name.is_not(None)).distinct()
        named = set(connection.execute(query).scalars())
        cars, entries = (
            connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for table in (tables.car, tables.entry)
        )
    problems += [_problem(store, name) for name in sorted(named) if not store.files.holds(name)]
    loose = tuple(sorted(store.files.names() - named))
    if sweep and gone:
        raise BookError(
            "Entries of the book are missing, and files that no entry names may be theirs: nothing "
            "was removed. Look at what the check says, and put back a backup."
        )
    if sweep:
        with store.told(), writing(store.engine) as connection:
            remove_unnamed(connection, store, loose)
    return Health(cars, entries, tuple(problems), loose)


def back_up(store: Store, folder: str | Path) -> Path:
    """Copy the whole book into a new folder while others may be writing it.

    On a server the database is left to ``pg_dump``, which has to be installed here.

    Raises
    ------
    BookError
        If something is there already, or a file of the book is missing or damaged; everything else
        is then copied all the same.
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise BookError(f"{folder}: is a file. Name a new folder for the backup.")
    if folder.exists() and any(folder.iterdir()):
        raise BookError(f"{folder}: is not empty. Name a new folder for the backup.")
    with store.told():
        folder.mkdir(parents=True, exist_ok=True)
        if store.place.database is None:
            _dump(store, folder)
        else:
            _copy(store.place.database, folder / store.place.database.name)
        # After the database: files are only ever added, so those it names are there by now.
        with reading(store.engine) as connection:
            names = connection.execute(sa.select(tables.entry_file.c.name).distinct()).scalars()
            lost = _copied(store.files, Files(folder), names)
    if lost:
        raise BookError(
            f"{folder}: holds the whole book but for files that are missing or damaged here "
            f"({len(lost)}), such as {lost[0]}. Put back what bellmouth book check names from an "
            "older backup."
        )
    return folder


def _copied(here: Files, there: Files, names: Iterable[str]) -> list[str]:
    """Copy files; the names of those that are missing or damaged."""
    lost = []
    for name in names:
        try:
            content = here.read(name)
        except BookError:
            lost.append(name)
            continue
        there.put(name, content)
    return lost


def would_delete(store: Store, name: str) -> Deleted:
    """What `delete` would take away."""
    with store.told(), reading(store.engine) as connection:
        return _taken(store, connection, name)


def expired(store: Store, today: date | None = None) -> tuple[str, ...]:
    """Names of the cars whose keep-until day is past."""
    day = (today or store.today()).isoformat()
    table = tables.standing
    query = sa.select(table.c.name).where(table.c.keep_until < day).order_by(table.c.name)
    with store.told(), reading(store.engine) as connection:
        return tuple(connection.execute(query).scalars())


def delete(store: Store, name: str) -> Deleted:
    """Delete a car for good, with its files; the one thing the book ever forgets.

    The place it had in the database is overwritten. Backups and exports made before still hold it.
    """
    with store.told():
        with writing(store.engine) as connection:
            taken = _taken(store, connection, name)
            car_id = store.row(connection, name)
            connection.execute(sa.insert(tables.leaving).values(car_id=car_id))
            for table in _OF_A_CAR:
                connection.execute(sa.delete(table).where(table.c.car_id == car_id))
            connection.execute(sa.delete(tables.car).where(tables.car.c.id == car_id))
            connection.execute(sa.delete(tables.leaving))
        with writing(store.engine) as connection:
            remove_unnamed(connection, store, taken.files)
        if store.place.database is not None:
            with store.engine.connect() as connection:
                # The write-ahead log still holds the old pages.
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    return taken


def _taken(store: Store, connection: Connection, name: str) -> Deleted:
    car_id, entries = store.read(connection, name)
    mine = {file for entry in entries for file in entry.files}
    file = tables.entry_file
    others = sa.select(file.c.name).where(file.c.name.in_(mine), file.c.car_id != car_id)
    shared = set(connection.execute(others).scalars())
    return Deleted(name, len(entries), tuple(sorted(mine - shared)))


def _integrity(connection: Connection) -> list[str]:
    if connection.dialect.name != "sqlite":
        return []
    said = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    dangling = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    problems = [f"The database is damaged: {line}." for line in said if line != "ok"]
    return problems + [f"The database is damaged: {row[0]} names what is not there."
                       for row in dangling]  # fmt: skip


def _documents(connection: Connection) -> Iterator[str]:
    """Entries that can no longer be read, or are not as they were written."""
    entry, standing, file = tables.entry, tables.standing, tables.entry_file
    names: dict[tuple[int, int], list[str]] = {}
    for named in connection.execute(sa.select(file).order_by(file.c.place)):
        names.setdefault((named.car_id, named.number), []).append(named.name)
    query = sa.select(standing.c.name, entry).join(standing, standing.c.car_id == entry.c.car_id)
    for one in connection.execute(query):
        row = one._asdict()
        what = f"{row['name']}, entry {row['number']} ({row['kind']})"
        try:
            document_in(row["document"] if is_whole(row) else None, what)
        except BookError as error:
            yield str(error)
            continue
        if row["digest"] != digest(row, names.get((row["car_id"], row["number"]), ())):
            yield (
                f"{what} is not as it was written: something else than a book has changed it. Put "
                "back a backup, and keep this one for whoever helps."
            )


def _problem(store: Store, name: str) -> str:
    try:
        store.files.read(name)
    except BookError as error:
        return str(error)
    return f"{name}: was missing."


def _copy(database: Path, target: Path) -> None:
    source, copy = sqlite3.connect(database), sqlite3.connect(target)
    try:
        source.backup(copy)
    finally:
        copy.close()
        source.close()


def _dump(store: Store, folder: Path) -> None:
    program = shutil.which("pg_dump")
    if program is None:
        raise BookError(
            "The book is on a PostgreSQL server and pg_dump is not installed here. Install the "
            "PostgreSQL client, or back up the server itself."
        )
    url = store.engine.url
    # Not on the command line, where every user of the machine could read it.
    secret = {"PGPASSWORD": url.password} if url.password else {}
    plain = url.set(drivername="postgresql").set(password="")
    target = folder / "book.dump"
    ran = subprocess.run(  # noqa: S603 - the program was looked up, the URL is the user's own
        [
            program,
            "--format=custom",
            f"--file={target}",
            f"--dbname={plain.render_as_string(hide_password=False)}",
        ],
        env={**os.environ, **secret},
        capture_output=True,
        text=True,
        check=False,
    )
    if ran.returncode:
        last = ran.stderr.strip().splitlines()[-1:] or ["no reason given"]
        raise BookError(f"pg_dump could not back up the book: {last[0]}.")
