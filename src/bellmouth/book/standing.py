"""Where each car stands: worked out from its history, in the transaction that added to it."""

from collections.abc import Sequence

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from bellmouth.book import tables
from bellmouth.book.entries import Entry, effective, read_all

__all__ = [
    "complaint_of", "facts_of", "known_of", "last_number", "odometer", "work_out", "work_out_all",
]  # fmt: skip


def known_of(entries: Sequence[Entry]) -> Entry:
    """The newest entry that says what is known of the car itself."""
    return [entry for entry in effective(entries) if entry.kind == "car"][-1]


def facts_of(entries: Sequence[Entry], job: int | None) -> Entry:
    """The entry that says what a job's facts are now, after corrections.

    Raises
    ------
    IndexError
        If there is no such job.
    """
    return [one for one in effective(entries) if one.kind == "job" and one.job == job][-1]


def complaint_of(entries: Sequence[Entry], job: int | None) -> str | None:
    """What the owner said when a job was opened; None where nothing was said, or no job opened."""
    opened = any(one.kind == "job" and one.job == job for one in entries)
    return facts_of(entries, job).document.get("complaint") if opened else None


def odometer(entries: Sequence[Entry]) -> Entry | None:
    """The newest entry, after corrections, that gives the odometer."""
    read = [entry for entry in effective(entries) if entry.distance_km is not None]
    return max(read, key=lambda entry: (entry.on_date or "", entry.number)) if read else None


def last_number(connection: Connection, car_id: int, entries: Sequence[Entry]) -> int:
    """The highest number that an entry of the car ever had; 0 before the first.

    What something else than a book removed leaves a gap: its number is never used again.
    """
    table = tables.standing
    query = sa.select(table.c.entries).where(table.c.car_id == car_id)
    noted = connection.execute(query).scalar() or 0
    return max((*(entry.number for entry in entries), noted), default=0)


def work_out(connection: Connection, car_id: int, entries: Sequence[Entry]) -> None:
    """Write a car's row anew, keeping when it is due."""
    table = tables.standing
    known, last = known_of(entries).document, odometer(entries)
    jobs = [entry for entry in effective(entries) if entry.kind == "job"]
    row = {
        "name": known["name"],
        "kind": known.get("kind"),
        "keep_until": known.get("keep_until"),
        "entries": last_number(connection, car_id, entries),
        "jobs": len(jobs),
        "last_made_at": max(entry.made_at for entry in entries),
        "last_on": max((job.on_date for job in jobs if job.on_date), default=None),
        "last_km": last.distance_km if last else None,
    }
    done = connection.execute(sa.update(table).where(table.c.car_id == car_id).values(row))
    if not done.rowcount:
        connection.execute(sa.insert(table).values(car_id=car_id, **row))


def work_out_all(connection: Connection) -> None:
    """Write every car's row anew, as a migration needs."""
    for car_id in connection.execute(sa.select(tables.car.c.id)).scalars().all():
        work_out(connection, car_id, read_all(connection, car_id))
