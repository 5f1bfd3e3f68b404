"""Lists over all cars, from where each stands; quick however long the histories are."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa

from bellmouth.book import tables
from bellmouth.book.entries import document_in
from bellmouth.book.known import day_of
from bellmouth.book.opening import reading, writing
from bellmouth.book.store import Store

__all__ = ["Standing", "cars", "due", "set_due", "standing_of"]


@dataclass(frozen=True)
class Standing:
    """Where a car stands: last job, odometer [km], and when to inspect it next.

    ``due`` is the forecast as it was worked out after the last entry that mattered, None where
    nothing could be forecast yet.
    """

    name: str
    kind: str | None
    jobs: int
    entries: int
    last_on: str | None
    last_km: float | None
    keep_until: str | None
    due_on: str | None
    due_km: float | None
    due: Mapping[str, Any] | None


def cars(store: Store, *, limit: int = 50, kind: str | None = None) -> tuple[Standing, ...]:
    """Cars by the day of their last job, newest first."""
    table = tables.standing
    query = sa.select(table).order_by(table.c.last_made_at.desc()).limit(limit)
    if kind is not None:
        query = query.where(table.c.kind == kind)
    return _read(store, query)


def due(store: Store, *, limit: int = 50, before: date | str | None = None) -> tuple[Standing, ...]:
    """Cars by the day on which they are to be inspected, soonest first.

    Raises
    ------
    BookError
        If ``before`` is no date.
    """
    table = tables.standing
    query = sa.select(table).where(table.c.due_on.is_not(None)).order_by(table.c.due_on)
    if before is not None:
        query = query.where(table.c.due_on < day_of(before))
    return _read(store, query.limit(limit))


def standing_of(store: Store, name: str) -> Standing:
    """Where one car stands."""
    table = tables.standing
    found = _read(store, sa.select(table).where(table.c.name == name))
    if not found:
        store.history(name)  # which says so, and what it may have been
    return found[0]


def set_due(
    store: Store, name: str, on: str | None, km: float | None, document: Mapping[str, Any] | None
) -> None:
    """Write when a car is due; `work_out` keeps it until it is written anew."""
    table = tables.standing
    text = None if document is None else json.dumps(document, allow_nan=False)
    with store.told(), writing(store.engine) as connection:
        connection.execute(
            sa.update(table).where(table.c.name == name).values(due_on=on, due_km=km, due=text)
        )


def _read(store: Store, query: sa.Select[Any]) -> tuple[Standing, ...]:
    names = [name for name in Standing.__dataclass_fields__ if name != "due"]
    with store.told(), reading(store.engine) as connection:
        return tuple(
            Standing(
                **{name: getattr(row, name) for name in names},
                due=None if row.due is None else document_in(row.due, f"When {row.name} is due"),
            )
            for row in connection.execute(query)
        )
