"""The card as a browser shows it, on a telephone and at a desk, light and dark."""

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from bellmouth.pages.card_html import write_html
from bellmouth.pages.card_view import card_page
from bellmouth.pages.card_words import Words
from bellmouth.work import WORKS, make_card
from tests.example_finding import example_car, example_finding
from tests.pages.photograph import browser, photograph

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(browser() is None, reason="no Chromium on this machine"),
]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("browser") / "card.html"
    # German words are the longest.
    write_html(path, card_page(make_card(example_car(), example_finding(), WORKS), Words("de")))
    return path


@pytest.mark.parametrize("width", [390, 1280])
def test_the_card_follows_light_and_dark(page: Path, width: int, tmp_path: Path) -> None:
    brightness = {}
    for dark in (False, True):
        picture = tmp_path / f"{dark}.png"
        photograph(page, picture, width=width, height=900, dark=dark)
        shown = np.asarray(Image.open(picture).convert("L"))[:, :width]
        brightness[dark] = float(shown.mean())
        assert shown.std() > 10  # something is drawn
    assert brightness[True] < 80
    assert brightness[False] > 180


@pytest.mark.parametrize("width", [390, 700, 1280])
def test_nothing_sticks_out_of_the_card(page: Path, width: int, tmp_path: Path) -> None:
    # The page itself allows no script; this copy of it measures itself, in a body that is as wide
    # as the screen, since no headless window is narrower than 500 pixels.
    text = re.sub(r"<meta http-equiv[^>]*>", "", page.read_text("utf-8"))
    script = (
        f"const body = document.body; body.style.width = '{width}px';"
        "document.title = Math.max(body.scrollWidth, ...[...body.querySelectorAll('*')]"
        ".map(one => Math.ceil(one.getBoundingClientRect().right))) + '/'"
    )
    measured = tmp_path / "measured.html"
    measured.write_text(text.replace("</body>", f"<script>{script}</script></body>"), "utf-8")
    ran = subprocess.run(
        [
            str(browser()), "--headless=new", "--no-sandbox", "--disable-gpu", "--dump-dom",
            f"--user-data-dir={tmp_path / 'profile'}", f"--window-size={max(width, 500)},900",
            measured.as_uri(),
        ],
        check=True, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    found = re.search(r"<title>(\d+)/</title>", ran.stdout)
    assert found is not None
    assert int(found[1]) <= width
