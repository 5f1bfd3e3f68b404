"""Open a book's database: make it, migrate it after a copy, or refuse it with a sentence."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from bellmouth.book.places import Place
from bellmouth.book.tables import APPLICATION_ID, VERSION, VERSIONS
from bellmouth.book.trouble import told
from bellmouth.errors import BookError

__all__ = ["connected", "open_engine", "reading", "writing"]

_BUSY_S = 30.0
_BEGIN = "Begin one with: bellmouth book car NAME --file car.toml"
# The version whose migration makes the table of standings, and leaves it empty.
_FIRST_STANDING = "0002"
# Any number will do, as long as every book on a server takes the same one.
_LOCK = 0x626D626B


def open_engine(place: Place, *, make: bool = True) -> Engine:
    """An engine on the book of a place, its tables of this version.

    A new book is made, unless ``make`` is False; an older one is copied beside itself and migrated.

    Raises
    ------
    BookError
        If it cannot be opened or made, is no book, is damaged, or is of a newer version.
    """
    with told(place):
        if place.database is not None and not place.database.exists():
            _refuse_unless(make, place)
            place.database.parent.mkdir(parents=True, exist_ok=True)
        engine = connected(place)
        try:
            _make_fit(engine, place, make=make)
        except BaseException:
            engine.dispose()
            raise
    return engine


def _refuse_unless(make: bool, place: Place) -> None:
    if not make:
        raise BookError(f"{place.name}: there is no book yet. {_BEGIN}")


def _make_fit(engine: Engine, place: Place, *, make: bool) -> None:
    with reading(engine) as connection:
        found = _version(connection, place)
    if found is None:
        _refuse_unless(make, place)
    if found != VERSION:
        _bring_up(engine, place, found)


def connected(place: Place) -> Engine:
    """An engine on the place's database as it is."""
    if place.database is None:
        return sa.create_engine(place.url)
    path = place.database
    engine = sa.create_engine(
        "sqlite://", creator=lambda: _sqlite(path), poolclass=sa.pool.NullPool
    )
    sa.event.listen(engine, "begin", _begin)
    return engine


class _NoRoom(sqlite3.Connection):
    """A book on a disk without room for so much as a log: to be read alone."""

    why: sqlite3.OperationalError


def _sqlite(path: Path) -> sqlite3.Connection:
    connection: sqlite3.Connection
    if _left_in_order(path) and not _may_write(path):
        # A write-ahead log cannot be made here, and there is none: nobody can be writing.
        connection = _as_it_is(path, sqlite3.Connection)
    else:
        connection = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)
        try:
            connection.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError as error:
            connection.close()
            if error.sqlite_errorcode != sqlite3.SQLITE_IOERR_SHMSIZE or not _left_in_order(path):
                raise
            # Nobody else can be writing either, and what is kept can be looked at all the same.
            connection = _as_it_is(path, _NoRoom)
            connection.why = error
        # Normal would lose the last commits when the power goes; an acknowledged entry is kept.
        connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")
    # What is deleted for good is overwritten, not only unlinked.
    connection.execute("PRAGMA secure_delete=ON")
    return connection


_Kind = TypeVar("_Kind", bound=sqlite3.Connection)


def _as_it_is(path: Path, kind: type[_Kind]) -> _Kind:
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    return sqlite3.connect(uri, uri=True, isolation_level=None, factory=kind)


def _left_in_order(path: Path) -> bool:
    log = path.with_name(path.name + "-wal")
    try:
        pending = log.stat().st_size
    except FileNotFoundError:
        # Whoever closes the book last takes it away, between two looks at it too.
        pending = 0
    return path.exists() and not pending


def _may_write(path: Path) -> bool:
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def _begin(connection: Connection) -> None:
    # Immediate: a transaction that reads first and then writes must not find that it may not.
    writes = connection.get_execution_options().get("writes", False)
    there = connection.connection.dbapi_connection
    if writes and isinstance(there, _NoRoom):
        raise there.why
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that sees the book as it is at one moment."""
    with engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """The one writer at a time; everything is kept when the block ends, or nothing."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
        yield connection


def _version(connection: Connection, place: Place) -> str | None:
    """The version of the tables, None where there are none yet."""
    names = set(sa.inspect(connection).get_table_names())
    if "alembic_version" in names and "entry" in names:
        found = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
        if found not in VERSIONS:
            raise BookError(
                f"{place.name}: the book was written by a newer Bellmouth (its tables are version "
                f"{found}, this one knows up to {VERSION}). Update Bellmouth; nothing was changed."
            )
        return str(found)
    if names and place.database is not None:
        raise BookError(f"{place.database}: is a database, but no book. Choose another folder.")
    return None


def _bring_up(engine: Engine, place: Place, found: str | None) -> None:
    if found is not None and place.database is not None:
        _copy_beside(place.database, found)
    with writing(engine) as connection:
        # Another process may have done it while this one waited for its turn.
        before = _version(connection, place)
        if before != VERSION:
            _migrate(connection)
            if before is None or before < _FIRST_STANDING:
                from bellmouth.book.standing import work_out_all  # noqa: PLC0415 - rare

                work_out_all(connection)
    if found is not None and place.database is None:
        return
    with engine.connect() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")


def _copy_beside(database: Path, version: str) -> None:
    copy = database.with_name(f"{database.stem}.before-{VERSION}-from-{version}.db")
    if copy.exists():
        return
    unfinished = copy.with_suffix(".unfinished")
    source, target = sqlite3.connect(database), sqlite3.connect(unfinished)
    try:
        source.backup(target)
    finally:
        target.close()
        source.close()
    unfinished.replace(copy)


def _migrate(connection: Connection) -> None:
    from alembic import command  # noqa: PLC0415 - only a new or an old book pays for it
    from alembic.config import Config  # noqa: PLC0415

    attributes: dict[str, Any] = {"connection": connection}
    settings = Config(attributes=attributes)
    settings.set_main_option("script_location", str(files("bellmouth.book") / "migrations"))
    command.upgrade(settings, "head")
