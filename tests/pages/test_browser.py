"""The report as a browser shows it, on a telephone and at a desk, light and dark."""

from pathlib import Path

import pytest

from bellmouth.pages.report import write_report
from tests.example_finding import example_car, example_finding, example_recording
from tests.pages.photograph import brightness, browser, measured

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser() is None, reason="no Chromium on this machine"),
]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("browser") / "report.html"
    write_report(path, example_finding(), example_recording(), example_car())
    return path


@pytest.mark.parametrize("width", [390, 1280])
def test_the_page_follows_light_and_dark(page: Path, width: int, tmp_path: Path) -> None:
    (light, drawn), (dark, also_drawn) = (
        brightness(page, tmp_path, width, dark=dark) for dark in (False, True)
    )
    assert min(drawn, also_drawn) > 10  # something is drawn
    assert dark < 80
    assert light > 180


@pytest.mark.parametrize("width", [500, 1280])
def test_nothing_sticks_out_of_the_page(page: Path, width: int, tmp_path: Path) -> None:
    script = "document.title = document.documentElement.scrollWidth + '/' + innerWidth"
    wide, there = measured(page, tmp_path, width, script).split("/")
    assert int(wide) <= int(there)
