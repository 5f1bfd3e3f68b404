"""Where a book lives: a folder, a database file in it or a PostgreSQL server, and the files."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from bellmouth.errors import BookError

__all__ = ["Place", "default_folder", "place_of"]

DATABASE = "book.db"


@dataclass(frozen=True)
class Place:
    """A book's database and the folder of its recordings and photos.

    ``database`` is the SQLite file, or None where the database is on a server; ``url`` is for
    SQLAlchemy; ``name`` is for people and shows no password.
    """

    url: str
    files: Path
    database: Path | None
    name: str


def default_folder(environment: Mapping[str, str] | None = None) -> Path:
    """``bellmouth`` in the user's data folder (XDG base directories: ``~/.local/share``)."""
    environment = os.environ if environment is None else environment
    data = environment.get("XDG_DATA_HOME") or ""
    # The specification says that a relative path there is to be ignored.
    base = Path(data) if data.startswith("/") else Path.home() / ".local" / "share"
    return base / "bellmouth"


def place_of(
    where: str | Path | None = None, environment: Mapping[str, str] | None = None
) -> Place:
    """The place that a folder or a URL names; None is ``BELLMOUTH_BOOK`` or the default folder.

    With a PostgreSQL URL, recordings and photos are kept in ``BELLMOUTH_BOOK_FILES`` or the
    default folder.

    Raises
    ------
    BookError
        If it is a URL of a kind that no book can be on, or a folder's name that is a file.
    """
    environment = os.environ if environment is None else environment
    where = where or environment.get("BELLMOUTH_BOOK") or default_folder(environment)
    text = str(where)
    if "://" in text:
        return _on_a_server(text, environment)
    folder = Path(text).expanduser()
    if folder.is_file():
        raise BookError(f"{folder}: is a file. A book is a folder: name the folder it is in.")
    path = folder / DATABASE
    return Place(f"sqlite:///{path}", folder, path, str(folder))


def _on_a_server(url: str, environment: Mapping[str, str]) -> Place:
    kind, _, rest = url.partition("://")
    if kind not in ("postgresql", "postgres", "postgresql+psycopg"):
        raise BookError(
            f"{kind}://…: a book is a folder, or a PostgreSQL database "
            "(postgresql://user@host/name)."
        )
    files = environment.get("BELLMOUTH_BOOK_FILES")
    folder = Path(files).expanduser() if files else default_folder(environment)
    shown = rest.partition("?")[0].rpartition("@")[2]
    return Place(f"postgresql+psycopg://{rest}", folder, None, f"postgresql://{shown}")
