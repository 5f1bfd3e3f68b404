"""Coaching on a car's own signals in a real browser: the car is another process on an adapter, and
the server can be killed.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.pages.photograph import browser as chromium
from tests.pages.site.other_processes import Car, Server, car_process
from tests.pages.site.served import keep, until, violations

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "pedal-released-position"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with Server(tmp_path_factory.mktemp("live")) as found:
        yield found


@pytest.fixture(scope="module")
def car() -> Iterator[Car]:
    with car_process() as found:
        yield found


@pytest.fixture
def seat(car: Car) -> Car:
    """The car as somebody sits down in it: foot up, key on."""
    car.do("pedal_pct", 0.0)
    car.do("key", 2.0)
    return car


def open_coach(page: Page, address: str, channel: str) -> None:
    page.goto(f"{address}/learning/{PROCEDURE}")
    page.get_by_label("I have checked this").check()
    page.get_by_label("Adapter").fill("slcan")
    page.get_by_label("Channel").fill(channel)
    page.get_by_role("button", name="Follow the car live").click()
    page.wait_for_selector("[data-ready=yes]")
    assert "key on now, so that it can be asked" in page.inner_text("main")


def start(page: Page) -> None:
    page.get_by_role("button", name="Start: 8 s count-in").click()
    page.wait_for_selector("[data-phase=running]")


def at_key_on(page: Page, seat: Car) -> None:
    """The count-in is over and the key was turned off and on again when it was called."""
    seat.do("key", 0.0)
    until(page, "document.querySelector('[data-part=digits]').innerText === 'NOW'")
    seat.do("key", 2.0)


def judged(page: Page) -> str:
    page.wait_for_selector("[data-see]:not([hidden])")
    page.locator("[data-see]").click()
    return page.inner_text("h1")


def test_nothing_is_coached_on_a_real_car_before_its_manual_was_checked(
    server: Server, page: Page
) -> None:
    address = server.new_car("Unchecked")
    page.goto(f"{address}/record")
    told = page.evaluate(
        "([path, id]) => fetch(`${path}/seat`, {method: 'POST', headers: {'content-type': "
        "'application/json'}, body: JSON.stringify({id})}).then(() => fetch(`${path}/live`, {"
        "method: 'POST', headers: {'content-type': 'application/json'}, body: "
        "JSON.stringify({id})})).then((answer) => answer.text())",
        [f"{address}/learning/idle-air-learning-by-pedal", "0123456789abcdef"],
    )
    assert "not coached until" in told


def test_a_real_car_is_followed_and_a_lost_attempt_is_told_at_once(
    server: Server, seat: Car, page: Page
) -> None:
    open_coach(page, server.new_car("Followed"), seat.channel)
    start(page)
    at_key_on(page, seat)
    until(page, "document.querySelector('[data-windows]').dataset.drawn > 20")
    page.get_by_text("The same in words").click()
    until(page, "document.querySelectorAll('[data-windows-words] li').length > 0")
    page.wait_for_timeout(500)
    assert "Key off: in" in page.inner_text("[data-windows-words]")
    assert violations(page) == []
    page.get_by_text("The same in words").click()
    keep(page, "page-coach-live-phone")
    # Pressing is forbidden here: nobody waits to the end to find out.
    place = page.inner_text("[data-part=place]")
    seat.do("pedal_pct", 100.0)
    page.wait_for_selector("[data-phase=lost]")
    seat.do("pedal_pct", 0.0)
    assert place == page.inner_text("[data-part=place]"), "told in the step that it happened in"
    told = page.inner_text("[data-told]")
    assert "Attempt lost" in told
    assert "the pedal was pressed, which nothing asked for" in told
    assert "Pedal up, key off, wait 10 s" in told
    assert judged(page) == "Pedal released position: missed"
