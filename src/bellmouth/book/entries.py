"""What the book holds: entries, one after another, and what is left of them after corrections."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from bellmouth.book import tables
from bellmouth.book.digests import digest
from bellmouth.errors import BookError
from bellmouth.reading import json_in

__all__ = [
    "FARTHEST_KM",
    "KINDS",
    "Entry",
    "canonical",
    "document_in",
    "effective",
    "insert",
    "is_whole",
    "numbered",
    "places",
    "read_all",
    "read_many",
]

#: What an entry can be: what is known of the car, a job that was opened, and what came of it.
KINDS = (
    "car", "job", "recording", "finding", "work", "card", "attempt", "proof", "note", "photo",
)  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """One entry of a car's history.

    Attributes
    ----------
    number
        Counts up from 1 within the car, never used twice.
    kind
        One of `KINDS`.
    made_at
        When it was written, by the computer's clock (ISO 8601, UTC).
    document
        What it says; plain data, as it was handed over.
    job
        Number of the job it belongs to; a job's own number for the entry that opened it.
    corrects
        Number of the entry that it stands in the place of.
    on_date, distance_km
        The day (ISO 8601) and the odometer it speaks of, where it speaks of one. [km]
    software, model, input_hash
        Version that wrote it; for a finding and a proof also the version of the model and the
        hash of everything it was made from.
    files
        Names of its files, ``recordings/HASH.parquet`` or ``photos/HASH.jpg``.
    """

    number: int
    kind: str
    made_at: str
    document: Mapping[str, Any]
    job: int | None = None
    corrects: int | None = None
    on_date: str | None = None
    distance_km: float | None = None
    software: str = ""
    model: str | None = None
    input_hash: str | None = None
    files: tuple[str, ...] = field(default=())


_PLAIN = (
    "number", "kind", "made_at", "job", "corrects", "on_date", "distance_km", "software", "model",
    "input_hash",
)  # fmt: skip


# What a column of whole numbers holds in either database.
_HIGHEST = 2**31 - 1
#: No odometer shows more. [km]
FARTHEST_KM = 5e6
_TYPES: Mapping[str, tuple[type, ...]] = {
    "number": (int,),
    "kind": (str,),
    "made_at": (str,),
    "job": (int, type(None)),
    "corrects": (int, type(None)),
    "on_date": (str, type(None)),
    "distance_km": (int, float, type(None)),
    "software": (str,),
    "model": (str, type(None)),
    "input_hash": (str, type(None)),
}


def is_whole(said: Mapping[str, Any]) -> bool:
    """Whether everything of an entry but its document and files is as a book writes it."""
    if any(
        not isinstance(said[key], types) or isinstance(said[key], bool)
        for key, types in _TYPES.items()
    ):
        return False
    try:
        # Of a moment without its time zone nobody can say whether another is later.
        in_time = datetime.fromisoformat(said["made_at"]).tzinfo is not None
        if said["on_date"] is not None:
            date.fromisoformat(said["on_date"])
        for name in _PLAIN:
            str(said[name]).encode()
    except ValueError:
        return False
    numbers = (said[name] for name in ("number", "job", "corrects") if said[name] is not None)
    counted = all(0 < number <= _HIGHEST for number in numbers)
    far = 0.0 <= (said["distance_km"] or 0.0) <= FARTHEST_KM
    return in_time and counted and far and said["kind"] in KINDS


def canonical(document: Any) -> str:
    """A document as JSON text: keys in their order, plain ASCII, nothing that JSON has not.

    Raises
    ------
    BookError
        If it holds something that is not plain data, or a number that is not finite.
    """
    try:
        return json.dumps(document, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    except (TypeError, ValueError, RecursionError) as error:
        raise BookError(f"The document cannot be kept: {error}. It must be plain JSON.") from error


def insert(connection: Connection, car_id: int, entries: Sequence[Entry]) -> None:
    """Write entries and the names of their files; the caller's transaction keeps them."""
    rows = []
    for entry in entries:
        row = {name: getattr(entry, name) for name in _PLAIN}
        row["document"] = canonical(entry.document)
        rows.append(row | {"car_id": car_id, "digest": digest(row, entry.files)})
    files = [
        {"car_id": car_id, "number": entry.number, "place": place, "name": name}
        for entry in entries
        for place, name in enumerate(entry.files)
    ]
    if rows:
        connection.execute(sa.insert(tables.entry), rows)
    if files:
        connection.execute(sa.insert(tables.entry_file), files)


def read_all(connection: Connection, car_id: int) -> tuple[Entry, ...]:
    """Every entry of a car, oldest first."""
    return read_many(connection, [car_id])[car_id]


def read_many(
    connection: Connection, car_ids: Iterable[int], kinds: Sequence[str] = KINDS
) -> dict[int, tuple[Entry, ...]]:
    """The entries of several cars, oldest first, all kinds or some."""
    wanted = list(car_ids)
    table, file = tables.entry, tables.entry_file
    files: dict[tuple[int, int], list[str]] = {}
    named = sa.select(file).where(file.c.car_id.in_(wanted)).order_by(file.c.place)
    for row in connection.execute(named):
        files.setdefault((row.car_id, row.number), []).append(row.name)
    query = sa.select(table).where(table.c.car_id.in_(wanted)).order_by(table.c.number)
    if len(kinds) < len(KINDS):
        query = query.where(table.c.kind.in_(kinds))
    found: dict[int, list[Entry]] = {car_id: [] for car_id in wanted}
    for row in connection.execute(query):
        plain = {name: getattr(row, name) for name in _PLAIN}
        names = tuple(files.get((row.car_id, row.number), ()))
        what = f"Entry {row.number} ({row.kind})"
        try:
            document = document_in(row.document if is_whole(plain) else None, what)
        except BookError as error:
            raise BookError(f"{_name(connection, row.car_id)}: {error}") from error
        found[row.car_id].append(Entry(**plain, document=document, files=names))
    return {car_id: tuple(entries) for car_id, entries in found.items()}


def _name(connection: Connection, car_id: int) -> str:
    table = tables.standing
    found = connection.execute(sa.select(table.c.name).where(table.c.car_id == car_id)).scalar()
    return str(found or "a car")


def document_in(text: Any, what: str) -> dict[str, Any]:
    """A document as the book keeps it; ``what`` it is of stands in the error.

    Raises
    ------
    BookError
        Where it was changed by something else than a book.
    """
    try:
        found = json_in(text)
    except (TypeError, ValueError):
        found = None
    if not isinstance(found, dict):
        raise BookError(
            f"{what} cannot be read any more: the book is damaged. Put back a backup, and keep "
            "this one for whoever helps."
        )
    return found


def effective(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries that no later one stands in the place of, each where its first one stood."""
    latest: dict[int, Entry] = {}
    first_of: dict[int, int] = {}
    for entry in entries:
        first = first_of.get(entry.corrects or 0, entry.number)
        first_of[entry.number] = first
        latest[first] = entry
    return tuple(latest[first] for first in sorted(latest))


def places(entries: Iterable[Entry]) -> dict[int, int]:
    """Where each entry stands in the order of what happened, by its number.

    A correction stands where the entry stood that it first was: what it says is of then.
    """
    found: dict[int, int] = {}
    for entry in entries:
        found[entry.number] = found.get(entry.corrects or 0, entry.number)
    return found


def numbered(entries: Iterable[Entry], number: int, kind: str | None = None) -> Entry:
    """The entry of a number.

    Raises
    ------
    BookError
        If there is none, or it is of another kind.
    """
    for entry in entries:
        if entry.number == number:
            if kind in (None, entry.kind):
                return entry
            raise BookError(f"Entry {number} is a {entry.kind}, not a {kind}.")
    raise BookError(f"There is no entry {number}. bellmouth book show CAR lists them.")
