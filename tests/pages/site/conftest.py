"""A page served in this process, on a book of its own; and a real browser to look at it."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from bellmouth.book.book import Book
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import CHROMIUM, PATIENCE_MS, PHONE, served

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


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Recordings from before a work and from after it, as somebody would send them."""
    folder = tmp_path_factory.mktemp("files")
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(recording, folder / recording.source)
    return folder / "before.csv", folder / "after.csv"


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the page is served for it."""
    with served(tmp_path_factory.mktemp("served")) as found:
        yield found


@pytest.fixture(scope="module")
def program() -> Iterator[Browser]:
    """Debian's Chromium."""
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=chromium(), args=CHROMIUM)
        yield found
        found.close()


@pytest.fixture
def context(program: Browser) -> Iterator[BrowserContext]:
    """A fresh one, on a telephone."""
    found = program.new_context(viewport=PHONE, service_workers="block")
    found.set_default_timeout(PATIENCE_MS)
    yield found
    found.close()


@pytest.fixture
def page(context: BrowserContext) -> Page:
    """A tab in it."""
    return context.new_page()
