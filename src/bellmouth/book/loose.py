"""Files of a book that no entry names: taken away while nobody else can add an entry that does."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from bellmouth.book import tables
from bellmouth.book.opening import writing
from bellmouth.errors import BookError

if TYPE_CHECKING:
    from bellmouth.book.store import Store

__all__ = ["named_or_gone", "remove_unnamed"]


def remove_unnamed(connection: Connection, store: "Store", names: Collection[str]) -> None:
    """Remove those of the files that no entry names; ``connection`` is the one writer's."""
    file = tables.entry_file
    still = sa.select(file.c.name).where(file.c.name.in_(list(names)))
    for name in set(names) - set(connection.execute(still).scalars()):
        store.files.remove(name)


@contextmanager
def named_or_gone(store: "Store", name: str) -> Iterator[None]:
    """A block that adds the entry of a file just kept; where that is refused, the file goes too."""
    try:
        yield
    except BookError:
        with store.told(), writing(store.engine) as connection:
            remove_unnamed(connection, store, [name])
        raise
