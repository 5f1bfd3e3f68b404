"""A page served in this process, on a book of its own."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.book.book import Book
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings

HOST = "127.0.0.1:8642"


@pytest.fixture
def garage(tmp_path: Path) -> Garage:
    """What the server holds."""
    folder = tmp_path / "captures"
    folder.mkdir()
    return Garage(Book(tmp_path / "book"), folder)


@pytest.fixture
def client(garage: Garage) -> Iterator[TestClient]:
    """A browser of sorts, that calls the page by its right name."""
    app = create_app(garage, Settings(frozenset({HOST}), most_bytes=2_000_000))
    with TestClient(app, base_url=f"http://{HOST}") as found:
        found.headers["origin"] = f"http://{HOST}"
        yield found
