"""The book: open it, add to it, read it. Everything that is written ends in `Store.add`."""

import difflib
import uuid
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from bellmouth.book import rules, tables
from bellmouth.book.entries import KINDS, Entry, insert, numbered, read_all
from bellmouth.book.files import Files
from bellmouth.book.known import known_document
from bellmouth.book.opening import open_engine, reading, writing
from bellmouth.book.places import place_of
from bellmouth.book.shapes import refuse_other_shape
from bellmouth.book.standing import facts_of, known_of, last_number, work_out
from bellmouth.book.trouble import told
from bellmouth.book.versions import software_version
from bellmouth.car.complaint import parse_complaint
from bellmouth.car.description import Car
from bellmouth.errors import BookError

__all__ = ["History", "Store", "row_of"]


@dataclass(frozen=True)
class History:
    """One car: its name, its identity across books, and every entry, oldest first."""

    name: str
    uuid: str
    made_at: str
    entries: tuple[Entry, ...]


def _here() -> datetime:
    """Now, in the time zone of this computer: a job's day is the shop's."""
    return datetime.now(UTC).astimezone()


def row_of(done: sa.CursorResult[Any]) -> int:
    """The row that an insertion made."""
    key = done.inserted_primary_key
    return 0 if key is None else int(key[0])


class Store:
    """A book of cars, on SQLite in a folder or on a PostgreSQL server.

    Several processes may have it open and write at once; each entry is kept, or refused, before
    `add` returns. Use it in a ``with`` block, or call `close`.

    Parameters
    ----------
    where
        Folder or ``postgresql://`` URL; None is what ``BELLMOUTH_BOOK`` says, or the default.
    make
        Whether to begin a new book where there is none.
    clock
        Gives the time of day, with its time zone.

    Raises
    ------
    BookError
        If it cannot be opened: one sentence that says why and what to do.
    """

    def __init__(
        self,
        where: str | Path | None = None,
        *,
        make: bool = True,
        clock: Callable[[], datetime] = _here,
    ) -> None:
        self.place = place_of(where)
        self.files = Files(self.place.files)
        self.engine = open_engine(self.place, make=make)
        self.clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def told(self) -> AbstractContextManager[None]:
        """A block in which what the database or disk complains of becomes a `BookError`."""
        return told(self.place)

    def today(self) -> date:
        """The day it is where the clock is."""
        return self.clock().date()

    # Cars ------------------------------------------------------------------------------------

    def add_car(
        self,
        name: str,
        car: Car | Mapping[str, Any],
        *,
        kind: str | None = None,
        identification: str | None = None,
        keep_until: date | str | None = None,
    ) -> Entry:
        """Begin a car's history.

        Parameters
        ----------
        name
            What the shop calls it, such as a job number; no other car of the book has it.
        car
            What is known about it, as a car file says it.
        kind
            Cars of one kind are alike in how they get dirty, such as ``maker, engine``.
        identification
            Vehicle identification number or plate, where it must be kept; stays in this book.
        keep_until
            Day after which it is to be deleted.
        """
        known = known_document(name, car, kind, identification, keep_until)
        first = Entry(0, "car", "", known)
        with self.told(), writing(self.engine) as connection:
            if self.row(connection, known["name"]) is not None:
                raise BookError(f"{known['name']}: is in the book already. Choose another name.")
            made_at = rules.stamp(self.clock(), None)
            row = {"uuid": uuid.uuid4().hex, "made_at": made_at}
            done = connection.execute(sa.insert(tables.car).values(row))
            return self._append(connection, row_of(done), (), first)

    def change_car(self, name: str, **changes: Any) -> Entry:
        """Say anew what is known of a car; keyword arguments as of `add_car`, and ``new_name``."""
        with self.told(), writing(self.engine) as connection:
            car_id, entries = self.read(connection, name)
            old = known_of(entries)
            said = {key: value for key, value in old.document.items() if key not in changes}
            said |= changes
            new_name = said.pop("new_name", None) or said.pop("name")
            said.pop("name", None)
            known = known_document(new_name, **said)
            taken = self.row(connection, known["name"])
            if taken is not None and taken != car_id:
                raise BookError(f"{known['name']}: is another car. Choose another name.")
            entry = Entry(0, "car", "", known, corrects=old.number)
            return self._append(connection, car_id, entries, entry)

    def open_job(
        self,
        name: str,
        *,
        distance_km: float | None = None,
        on: date | str | None = None,
        complaint: str | None = None,
        comeback_of: int | None = None,
        corrects: int | None = None,
    ) -> Entry:
        """Open a job on a car, or correct the facts of one.

        Parameters
        ----------
        distance_km
            The odometer. [km]
        on
            The day; today where it is not given.
        complaint
            What the owner says.
        comeback_of
            Number of the earlier job whose work did not hold.
        corrects
            Number of the job whose facts these are.

        Raises
        ------
        BookError
            If the day is before the last job's, the odometer runs backwards, or there is no such
            earlier job.
        CarError
            If it is no complaint that a finding knows.
        """
        # Kept as it was typed, no finding of the job could be made.
        complaint = parse_complaint(complaint) if complaint else None
        with self.told(), writing(self.engine) as connection:
            car_id, entries = self.read(connection, name)
            job = None
            if corrects is not None:
                job = numbered(entries, corrects, "job").job
                # Its facts as they stand now: what was put right before must stay so.
                old = facts_of(entries, job)
                on = on or old.on_date
                distance_km = old.distance_km if distance_km is None else distance_km
                complaint = complaint or old.document.get("complaint")
                comeback_of = comeback_of or old.document.get("comeback_of")
            day = rules.checked_date(on, entries, self.today(), corrects)
            distance = rules.checked_distance(distance_km, entries, corrects)
            rules.checked_comeback(comeback_of, entries, job)
            facts = {"complaint": complaint, "comeback_of": comeback_of}
            said = {key: value for key, value in facts.items() if value}
            entry = Entry(0, "job", "", said, job, corrects, day, distance)
            return self._append(connection, car_id, entries, entry)

    # Entries ---------------------------------------------------------------------------------

    def add(
        self,
        name: str,
        kind: str,
        document: Mapping[str, Any],
        *,
        files: Sequence[str] = (),
        job: int | None = None,
        corrects: int | None = None,
        model: str | None = None,
        input_hash: str | None = None,
    ) -> Entry:
        """Add an entry to a car's last job, or to the job of a number; it is kept on return.

        Parameters
        ----------
        kind
            One of `bellmouth.book.entries.KINDS`, but not ``car`` or ``job``.
        document
            What it says: plain data, kept as it is.
        files
            Names of files that `Files.keep` has written.
        corrects
            Number of the entry that this one stands in the place of.
        """
        if kind not in KINDS[2:]:
            raise BookError(f"{kind}: no such entry. Entries are {', '.join(KINDS[2:])}.")
        refuse_other_shape(kind, document)
        with self.told(), writing(self.engine) as connection:
            car_id, entries = self.read(connection, name)
            if corrects is not None:
                job = job or numbered(entries, corrects, kind).job
            opened = [one for one in entries if one.kind == "job"]
            if job is not None:
                # A correction of a job's facts is no job of its own.
                job = numbered(opened, job).job
            elif opened:
                job = max(one.job or 0 for one in opened)
            entry = Entry(
                0, kind, "", document, job, corrects, model=model, input_hash=input_hash,
                files=tuple(files),
            )  # fmt: skip
            return self._append(connection, car_id, entries, entry)

    def has(self, name: str) -> bool:
        """Whether a car of that name is in the book."""
        with self.told(), reading(self.engine) as connection:
            return self.row(connection, name) is not None

    def history(self, name: str) -> History:
        """A car and all its entries.

        Raises
        ------
        BookError
            If there is no car of that name.
        """
        with self.told(), reading(self.engine) as connection:
            car_id, entries = self.read(connection, name)
            row = connection.execute(sa.select(tables.car).where(tables.car.c.id == car_id)).one()
            return History(known_of(entries).document["name"], row.uuid, row.made_at, entries)

    def _append(
        self, connection: Connection, car_id: int, entries: Sequence[Entry], entry: Entry
    ) -> Entry:
        last = max((one.made_at for one in entries), default=None)
        number = last_number(connection, car_id, entries) + 1
        for name in entry.files:
            # Somebody may have deleted a car that had the same file since it was kept.
            if not self.files.path(name).is_file():
                raise BookError(f"{name}: was deleted meanwhile. Add it again.")
        job = number if entry.kind == "job" and entry.job is None else entry.job
        whole = replace(
            entry,
            number=number,
            job=job,
            made_at=rules.stamp(self.clock(), last),
            software=software_version(),
        )
        insert(connection, car_id, [whole])
        work_out(connection, car_id, (*entries, whole))
        return whole

    def row(self, connection: Connection, name: str) -> int | None:
        """The car's row in the tables, None where there is no car of that name."""
        try:
            name.encode()
        except UnicodeEncodeError:  # bytes of a shell that are no text: no car is called so
            return None
        table = tables.standing
        query = sa.select(table.c.car_id).where(table.c.name == name)
        found = connection.execute(query).scalar()
        return None if found is None else int(found)

    def read(self, connection: Connection, name: str) -> tuple[int, tuple[Entry, ...]]:
        """A car's row and all its entries, within a transaction."""
        car_id = self.row(connection, name)
        if car_id is None:
            near = self._near(connection, name)
            raise BookError(f"{name}: there is no such car in {self.place.name}. {near}")
        entries = read_all(connection, car_id)
        if not any(one.kind == "car" for one in entries):
            raise BookError(
                f"{name}: the entry that says what is known of it is missing: the book is damaged. "
                "Put back a backup, and keep this one for whoever helps."
            )
        return car_id, entries

    def _near(self, connection: Connection, name: str) -> str:
        names = connection.execute(sa.select(tables.standing.c.name).limit(5000)).scalars().all()
        close = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
        return f"Did you mean {close[0]}?" if close else "bellmouth book show lists them."
