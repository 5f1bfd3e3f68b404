"""The card as a browser shows it, on a telephone and at a desk, light and dark."""

from pathlib import Path

import pytest

from bellmouth.pages.card_html import write_html
from bellmouth.pages.card_view import card_page
from bellmouth.pages.card_words import Words
from bellmouth.work import make_card
from tests.example_finding import example_car, example_finding
from tests.pages.photograph import brightness, browser, measured
from tests.work.together import AIR_WORKS

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser() is None, reason="no Chromium on this machine"),
]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("browser") / "card.html"
    # German words are the longest.
    write_html(path, card_page(make_card(example_car(), example_finding(), AIR_WORKS), Words("de")))
    return path


@pytest.mark.parametrize("width", [390, 1280])
def test_the_card_follows_light_and_dark(page: Path, width: int, tmp_path: Path) -> None:
    (light, drawn), (dark, also_drawn) = (
        brightness(page, tmp_path, width, dark=dark) for dark in (False, True)
    )
    assert min(drawn, also_drawn) > 10  # something is drawn
    assert dark < 80
    assert light > 180


@pytest.mark.parametrize("width", [390, 700, 1280])
def test_nothing_sticks_out_of_the_card(page: Path, width: int, tmp_path: Path) -> None:
    # In a body as wide as the screen: no headless window is narrower than 500 pixels.
    script = (
        f"const body = document.body; body.style.width = '{width}px';"
        "document.title = Math.max(body.scrollWidth, ...[...body.querySelectorAll('*')]"
        ".map(one => Math.ceil(one.getBoundingClientRect().right)))"
    )
    assert int(measured(page, tmp_path, width, script)) <= width
