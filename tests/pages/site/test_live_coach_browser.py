"""Coaching on a car's own signals in a real browser: the car is another process on an adapter, and
the server can be killed.
"""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page

from bellmouth.recording import read_recording
from tests.pages.photograph import browser as chromium
from tests.pages.site.other_processes import Car, Server, car_process
from tests.pages.site.served import PATIENCE_MS, keep, patient, unfold, until, violations

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "pedal-released-position"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with Server(tmp_path_factory.mktemp("live"), patient=True) as found:
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
    patient(page)
    page.goto(f"{address}/learning/{PROCEDURE}")
    page.get_by_label("I have checked this").check()
    page.get_by_label("Kind of adapter").fill("slcan")
    page.get_by_label("Port of the adapter").fill(channel)
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


def until_listed(page: Page, word: str) -> None:
    """The attempt is judged in a thread of its own: look again until it is in the list."""
    end = time.monotonic() + PATIENCE_MS / 1000.0
    while not page.get_by_role("link", name=word).count():
        assert time.monotonic() < end
        page.wait_for_timeout(200)
        page.reload()


def judged(page: Page) -> str:
    page.wait_for_selector("[data-see]:not([hidden])")
    page.locator("[data-see]").click()
    page.wait_for_url("**/attempt/*")
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
    unfold(page.get_by_text("The same in words"))
    until(page, "document.querySelectorAll('[data-windows-words] li').length > 0")
    until(page, "document.querySelector('[data-windows-words]').innerText.includes('Key off: in')")
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


def test_a_second_page_watches_until_it_takes_over(
    server: Server, seat: Car, context: BrowserContext
) -> None:
    page, second = context.new_page(), context.new_page()
    address = server.new_car("Two tabs")
    open_coach(page, address, seat.channel)
    start(page)
    # It begins to watch by itself, says so, and its taps mean nothing.
    second.goto(page.url)
    second.wait_for_selector("[data-watching]")
    assert "This one watches" in second.inner_text("[data-other]")
    assert not second.locator("[data-zone]").is_visible()
    until(second, "Number(document.querySelector('[data-part=digits]').innerText) < 7")
    second.get_by_role("button", name="Take over").click()
    second.wait_for_selector("[data-coach]:not([data-watching])")
    page.wait_for_selector("[data-watching]")
    assert "Another page took over" in page.inner_text("[data-other]")
    # Whoever watches may leave; the attempt goes on. Whoever drives may not.
    page.goto(f"{address}/learning")
    second.wait_for_timeout(1000)
    assert second.get_attribute("[data-coach]", "data-phase") == "running"
    second.goto(f"{address}/learning")
    until_listed(second, "void")
    second.get_by_role("link", name="void").click()
    second.wait_for_url("**/attempt/*")
    assert "The page was left" in second.inner_text("main")


def test_the_server_is_killed_in_the_middle_of_a_procedure(
    seat: Car, page: Page, tmp_path: Path
) -> None:
    with Server(tmp_path, patient=True) as server:
        address = server.new_car("Killed")
        open_coach(page, address, seat.channel)
        start(page)
        until(page, "Number(document.querySelector('[data-part=digits]').innerText) < 7")
        server.kill()
        page.wait_for_selector("[data-phase=void]")
        assert page.is_visible("[data-lost]")
        told = page.inner_text("[data-told]")
        assert "Attempt void" in told
        assert "Pedal up, key off, wait 10 s" in told
        server.start()
        # By itself: nobody touches the page.
        page.wait_for_selector("[data-see]:not([hidden])")
        assert not page.is_visible("[data-lost]")
        assert "is kept as void" in page.inner_text("[data-told]")
        assert judged(page) == "Pedal released position: void"
        assert "The server ended in the middle of it" in page.inner_text("main")
        page.goto(f"{address}/learning")
        gone = page.locator("section", has_text="Attempts so far").get_by_role("listitem")
        assert gone.count() == 1
        assert "void" in gone.inner_text()
        # The manual is still checked and the car still known: it goes on from here.
        page.goto(f"{address}/learning/{PROCEDURE}/coach?follow=car")
        page.wait_for_selector("[data-ready=yes]")
        start(page)
        page.get_by_role("button", name="STOP").click()
        page.wait_for_selector("[data-phase=stopped]")
        assert judged(page) == "Pedal released position: stopped"


def test_the_server_is_killed_in_the_middle_of_a_capture(
    seat: Car, page: Page, tmp_path: Path
) -> None:
    with Server(tmp_path) as server:
        address = server.new_car("Cut")
        page.goto(f"{address}/record")
        page.get_by_label("Kind of adapter").fill("slcan")
        page.get_by_label("Port of the adapter").fill(seat.channel)
        page.get_by_role("button", name="Start recording").click()
        page.wait_for_selector("[data-states]")
        until(page, "parseInt(document.querySelector('[data-tell=seconds]').innerText) >= 5")
        shown = float(page.inner_text("[data-tell=seconds]").split()[0])
        server.kill()
        page.wait_for_selector("[data-lost]:not([hidden])")
        server.start()
        # By itself: the page is loaded again and offers what is on the disk.
        page.wait_for_selector("text=Left from before")
        page.get_by_role("button", name="Take the capture").click()
        page.goto(f"{address}/record")
        assert "In this job already" in page.inner_text("main")
        (kept,) = (tmp_path / "recordings").glob("*.parquet")
        recording = read_recording(kept)
        last_s = max(float(one.time_s[-1]) for one in recording.series.values())
        assert recording.begins_s + last_s >= shown - 1.0
