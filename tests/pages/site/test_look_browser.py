"""The look where somebody has set the device up: letters twice as large, the system's own colours,
paper whatever the light.
"""

from pathlib import Path

import httpx2
import pytest
from playwright.sync_api import Browser, Page

from tests.pages.photograph import browser as chromium
from tests.pages.site.served import PATIENCE_MS, PHONE

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

#: By how much a page is wider than its window, and what sticks out. [px]
BEYOND = """() => {
  const wide = document.documentElement.clientWidth;
  const out = [...document.querySelectorAll("body *")].filter(
    (one) => one.getBoundingClientRect().right > wide + 1 && !one.closest(".scroll, .table"));
  const beyond = document.documentElement.scrollWidth - wide;
  return [beyond, out.map((one) => one.outerHTML.slice(0, 60))];
}"""
GROUND = "(one) => getComputedStyle(one).backgroundColor"
WHITE, BLACK = "rgb(255, 255, 255)", "rgb(0, 0, 0)"


@pytest.fixture(scope="module")
def car(address: str, files: tuple[Path, Path]) -> str:
    """A car with a finding, by its address."""
    data = {"name": "Looked at", "displacement_l": "2.0", "metering": "airflow"}
    with httpx2.Client(headers={"origin": address}, timeout=120.0) as browser:
        there = browser.post(f"{address}/cars", data=data).headers["location"]
        found = f"{address}{there}".removesuffix("/record")
        sent = {"file": ("before.csv", files[0].read_bytes())}
        answer = browser.post(f"{found}/record/file", files=sent)
    assert answer.status_code == 303
    return found


@pytest.mark.parametrize(
    "path", ["finding", "work?work=renew_gasket&work=relearn", "card?work=renew_gasket", "record"]
)
def test_with_letters_twice_as_large_nothing_sticks_out(car: str, page: Page, path: str) -> None:
    """Stages, lights and choices did, by up to twice the width of a telephone."""
    page.context.add_cookies([{"name": "bellmouth_language", "value": "de", "url": car}])
    page.goto(f"{car}/{path}")
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    page.wait_for_timeout(100)
    beyond, what = page.evaluate(BEYOND)
    assert (beyond <= 1, what) == (True, [])


def test_a_choice_with_a_long_word_stays_in_its_box_on_a_small_telephone(
    car: str, page: Page
) -> None:
    page.context.add_cookies([{"name": "bellmouth_language", "value": "de", "url": car}])
    page.set_viewport_size({"width": 320, "height": 640})
    page.goto(f"{car}/work?work=renew_gasket")
    field, box, bar, main = page.evaluate(
        "[...['form fieldset', 'form', 'ol.stages li:last-child', 'main > nav']].map("
        "(name) => document.querySelector(`main ${name.replace('main > ', '')}`)"
        ".getBoundingClientRect().right)"
    )
    assert field <= box
    assert bar <= main + 1


@pytest.mark.parametrize("light", ["day", "garage"])
def test_in_the_systems_own_colours_bars_and_intervals_are_still_there(
    program: Browser, car: str, light: str
) -> None:
    """They are grounds, which such a browser takes away; and a light's own ink was no ink there."""
    context = program.new_context(
        viewport=PHONE, service_workers="block", forced_colors="active", color_scheme="light"
    )
    context.set_default_timeout(PATIENCE_MS)
    context.add_cookies([{"name": "bellmouth_light", "value": light, "url": car}])
    page = context.new_page()
    page.goto(f"{car}/finding")
    section = page.locator("section").first.evaluate(GROUND)
    for what in (".bars .fill", ".scale .span", ".scale .dot", ".scale .line"):
        assert page.locator(what).first.evaluate(GROUND) not in (section, "rgba(0, 0, 0, 0)"), what
    ink = page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--ink')")
    assert ink.strip() == "#1b1f24", "what scripts draw is dark on the light ground"
    context.close()


@pytest.mark.parametrize("light", ["garage", "sun", "day"])
def test_paper_is_white_whatever_the_light(car: str, page: Page, light: str) -> None:
    """A page that was read in the garage's light was printed amber on black."""
    page.context.add_cookies([{"name": "bellmouth_light", "value": light, "url": car}])
    page.goto(f"{car}/finding")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.locator("body").evaluate(GROUND) == WHITE
    assert page.locator("h1").evaluate("(one) => getComputedStyle(one).color") == BLACK
    for what in (".top", "nav", ".settings", "main button", "main .button"):
        assert not page.locator(what).first.is_visible(), what
    assert page.get_by_text("How likely each cause is").is_visible()
