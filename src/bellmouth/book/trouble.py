"""What a database or a disk complains of, as a sentence for the person at the car."""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError, IntegrityError, NoResultFound, ProgrammingError

from bellmouth.book.places import Place
from bellmouth.errors import BellmouthError, BookError

__all__ = ["told"]

_BY_CODE = {
    sqlite3.SQLITE_FULL: "the disk is full. Make room and do it again; what was there before is "
    "unharmed",
    sqlite3.SQLITE_READONLY: "may not be written. Ask for permission to write in that folder, or "
    "choose another with --book",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened. Check the name and that you may write there",
    sqlite3.SQLITE_BUSY: "is being written by somebody else for very long. Try again",
    sqlite3.SQLITE_NOTADB: "is not a book. Choose another folder, or put back a backup",
    sqlite3.SQLITE_CORRUPT: "is damaged. Put back a backup, and keep this one for whoever helps",
    sqlite3.SQLITE_IOERR: "could not be read or written by the disk. Check the disk; what was "
    "there before is unharmed",
}
_BY_ERRNO = {
    errno.ENOSPC: _BY_CODE[sqlite3.SQLITE_FULL],
    errno.EDQUOT: _BY_CODE[sqlite3.SQLITE_FULL],
    errno.EACCES: _BY_CODE[sqlite3.SQLITE_READONLY],
    errno.EPERM: _BY_CODE[sqlite3.SQLITE_READONLY],
    errno.EROFS: _BY_CODE[sqlite3.SQLITE_READONLY],
}

_NOT_ALLOWED = "42501"  # SQLSTATE insufficient_privilege


@contextmanager
def told(place: Place) -> Iterator[None]:
    """Turn what the database or the disk raises into a `BookError`; bugs pass as they are."""
    try:
        yield
    except BellmouthError:
        raise
    except (IntegrityError, ProgrammingError) as error:
        if getattr(error.orig, "sqlstate", None) == _NOT_ALLOWED:
            raise BookError(f"{place.name}: {_of_database(error)}.") from error
        # These are our own mistakes, except where the server does not let us in.
        _refuse_damaged(place, error)
        raise
    except (LookupError, TypeError, ValueError, NoResultFound) as error:
        # So are these, except where pages of the database were changed: rows are then gone, or
        # empty, without a word.
        _refuse_damaged(place, error)
        raise
    except DBAPIError as error:
        raise BookError(f"{place.name}: {_of_database(error)}.") from error
    except sqlite3.Error as error:
        raise BookError(f"{place.name}: {_of_sqlite(error)}.") from error
    except OSError as error:
        said = _BY_ERRNO.get(error.errno or 0)
        if said is None:
            raise
        raise BookError(f"{_where(error, place)}: {said}.") from error


def _refuse_damaged(place: Place, error: Exception) -> None:
    """Say so where the database does not hold together."""
    if place.database is None:
        return
    try:
        with closing(sqlite3.connect(place.database)) as connection:
            whole = connection.execute("PRAGMA integrity_check(1)").fetchone() == ("ok",)
    except (sqlite3.Error, UnicodeDecodeError):
        whole = False
    if not whole:
        said = _BY_CODE[sqlite3.SQLITE_CORRUPT]
        raise BookError(f"{place.name}: {said}.") from error


def _where(error: OSError, place: Place) -> str:
    """The file that somebody named; the book's own files are the book."""
    named = str(error.filename or "")
    return named if named and place.files not in Path(named).parents else place.name


def _of_database(error: DBAPIError) -> str:
    if isinstance(error.orig, sqlite3.Error):
        return _of_sqlite(error.orig)
    first = str(error.orig).strip().splitlines()[0].rstrip(". ")
    if error.connection_invalidated or "connect" in first.lower():
        return f"the database does not answer ({first}). Check that it runs and the URL"
    return f"the database refused ({first})"


def _of_sqlite(error: sqlite3.Error) -> str:
    whole = getattr(error, "sqlite_errorcode", 0)
    # Extended codes carry the plain one in their low byte. What writers share could not grow: there
    # is no room for it.
    code = sqlite3.SQLITE_FULL if whole == sqlite3.SQLITE_IOERR_SHMSIZE else whole & 0xFF
    return _BY_CODE.get(code, f"the database refused ({error})")
