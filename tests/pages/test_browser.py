"""The report as a browser shows it, on a telephone and at a desk, light and dark."""

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from bellmouth.pages.report import write_report
from tests.example_finding import example_car, example_finding, example_recording
from tests.pages.photograph import browser, photograph

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
    brightness = {}
    for dark in (False, True):
        picture = tmp_path / f"{dark}.png"
        photograph(page, picture, width=width, height=900, dark=dark)
        shown = np.asarray(Image.open(picture).convert("L"))[:, :width]
        brightness[dark] = float(shown.mean())
        assert shown.std() > 10  # something is drawn
    assert brightness[True] < 80
    assert brightness[False] > 180


@pytest.mark.parametrize("width", [500, 1280])
def test_nothing_sticks_out_of_the_page(page: Path, width: int, tmp_path: Path) -> None:
    # The page itself allows no script; this copy of it measures itself.
    text = re.sub(r"<meta http-equiv[^>]*>", "", page.read_text("utf-8"))
    measured = tmp_path / "measured.html"
    script = "document.title = document.documentElement.scrollWidth + '/' + innerWidth"
    measured.write_text(text.replace("</body>", f"<script>{script}</script></body>"), "utf-8")
    ran = subprocess.run(
        [
            str(browser()), "--headless=new", "--no-sandbox", "--disable-gpu", "--dump-dom",
            f"--user-data-dir={tmp_path / 'profile'}", f"--window-size={width},900",
            measured.as_uri(),
        ],
        check=True, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    found = re.search(r"<title>(\d+)/(\d+)</title>", ran.stdout)
    assert found is not None
    assert int(found[1]) <= int(found[2])
