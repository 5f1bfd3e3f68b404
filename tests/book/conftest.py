"""Books to write in: on SQLite in a folder, and on a PostgreSQL server that is started here."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path

import pytest

from bellmouth.book import Book
from bellmouth.book.store import Store
from tests.book.made import Clock, a_photo

Make = Callable[..., Book]


def _program(name: str) -> str | None:
    found = shutil.which(name)
    if found:
        return found
    installed = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(installed[-1]) if installed else None


def _server_user() -> str | None:
    """PostgreSQL refuses to run as root."""
    if os.geteuid():
        return None
    names = {one.pw_name for one in pwd.getpwall()}
    return next((name for name in ("postgres", "nobody") if name in names), None)


def _run(*words: str, user: str | None) -> None:
    # A file, not a pipe: the server that pg_ctl starts would hold a pipe open.
    with tempfile.TemporaryFile("w+") as said:
        ran = subprocess.run(
            words, check=False, stdout=said, stderr=said, stdin=subprocess.DEVNULL, user=user,
            cwd="/",
        )  # fmt: skip
        said.seek(0)
        assert ran.returncode == 0, said.read()


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """Folder of the socket of a PostgreSQL server of our own; nothing listens on the network."""
    initdb, control = _program("initdb"), _program("pg_ctl")
    if initdb is None or control is None:
        pytest.skip("no PostgreSQL server is installed (Debian: postgresql)")
    if find_spec("psycopg") is None:
        pytest.skip("psycopg is not installed")
    user = _server_user()
    folder = Path(tempfile.mkdtemp(prefix="bellmouth-pg-", dir="/tmp"))
    if user is not None:
        shutil.chown(folder, user)
    data = str(folder / "data")
    try:
        _run(initdb, "-D", data, "-U", "bellmouth", "--no-sync", "-E", "UTF8", user=user)
        options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off"
        log = str(folder / "log")
        _run(control, "-D", data, "-l", log, "-w", "-t", "120", "-o", options, "start", user=user)
        try:
            yield str(folder)
        finally:
            _run(control, "-D", data, "-w", "-m", "immediate", "stop", user=user)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def database(server: str, request: pytest.FixtureRequest) -> str:
    """URL of an empty database of the server."""
    import psycopg  # noqa: PLC0415

    name = f"book_{abs(hash(request.node.nodeid))}"
    with psycopg.connect(
        f"host={server} user=bellmouth dbname=postgres", autocommit=True
    ) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    return f"postgresql://bellmouth@/{name}?host={server}"


@pytest.fixture
def clock() -> Clock:
    """A clock that a test sets."""
    return Clock(datetime(2026, 3, 1, 9, 0, tzinfo=UTC), timedelta(seconds=1))


@pytest.fixture(params=["sqlite", "postgresql"])
def where(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> str | Path:
    """The place of a book, once on each kind of database."""
    if request.param == "sqlite":
        return tmp_path / "main"
    monkeypatch.setenv("BELLMOUTH_BOOK_FILES", str(tmp_path / "files"))
    return str(request.getfixturevalue("database"))


@pytest.fixture
def book(where: str | Path, clock: Clock) -> Iterator[Book]:
    """An empty book, once on each kind of database."""
    with Book(where, clock=clock) as made:
        yield made


@pytest.fixture
def local(tmp_path: Path, clock: Clock) -> Iterator[Book]:
    """An empty book in a folder."""
    with Book(tmp_path / "book", clock=clock) as made:
        yield made


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store in a folder, by the real clock."""
    with Store(tmp_path / "store") as made:
        yield made


@pytest.fixture(scope="session")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo as a telephone takes it."""
    return a_photo(tmp_path_factory.mktemp("photo") / "photo.jpg")
