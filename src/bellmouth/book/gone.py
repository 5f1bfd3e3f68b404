"""Entries that were removed by something else than a book: numbers that a car's history lacks.

The number of a car's last entry is kept in `standing` as well, and no number is given twice. A
whole book that was put back from a backup is an older book and lacks nothing.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from bellmouth.book import tables

__all__ = ["entries_gone"]


def entries_gone(connection: Connection) -> Iterator[str]:
    """A sentence for each car that lacks entries, or that no list holds any more."""
    car, entry, standing = tables.car, tables.entry, tables.standing
    there: dict[int, set[int]] = {}
    for row in connection.execute(sa.select(entry.c.car_id, entry.c.number)):
        there.setdefault(row.car_id, set()).add(row.number)
    query = sa.select(car.c.id, car.c.made_at, standing.c.name, standing.c.entries)
    for one in connection.execute(query.outerjoin(standing, standing.c.car_id == car.c.id)):
        numbers = there.get(one.id, set())
        if one.name is None:
            yield (
                f"A car of {str(one.made_at)[:10]} is in no list any more: something else than a "
                "book has removed it. Put back a backup, and keep this one for whoever helps."
            )
            continue
        missing = sorted(set(range(1, max((*numbers, one.entries)) + 1)) - numbers)
        if len(missing) == 1:
            yield (
                f"{one.name}: its entry {missing[0]} is missing. Something else than a book has "
                "removed it. Put back a backup, and keep this one for whoever helps."
            )
        elif missing:
            yield (
                f"{one.name}: its entries {_spans(missing)} are missing. Something else than a "
                "book has removed them. Put back a backup, and keep this one for whoever helps."
            )


def _spans(numbers: Sequence[int]) -> str:
    """7, 9 to 12."""
    spans = []
    for _, group in groupby(enumerate(numbers), key=lambda one: one[1] - one[0]):
        run = [number for _, number in group]
        spans.append(str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}")
    return ", ".join(spans)
