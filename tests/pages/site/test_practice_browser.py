"""The practice car on the page: recorded live, its pedal in the person's hands, its plate in their
ears, and a server that goes away.
"""

from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, Page

from bellmouth.bus.guide import asked_rpm
from tests.pages.photograph import browser as chromium
from tests.pages.site.person import Over, Person, begins, closed_position
from tests.pages.site.served import (
    PATIENCE_MS,
    PHONE,
    keep,
    patient,
    served,
    unfold,
    until,
    violations,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]


def test_a_practice_car_is_recorded_driven_and_offered_again(
    program: Browser, tmp_path: Path
) -> None:
    """One car for all of it, because a practice car takes seconds to make."""
    context = program.new_context(viewport=PHONE)
    context.set_default_timeout(PATIENCE_MS)
    page, second = context.new_page(), context.new_page()
    with served(tmp_path) as address:
        page.goto(address)
        page.get_by_role("button", name="Take a practice car").click()
        page.wait_for_url("**/record")
        page.get_by_role("button", name="Start recording").click()
        page.wait_for_selector("[data-states]")
        until(page, "Number(document.querySelector('[data-states]').dataset.frames || 0) > 30")
        second.goto(page.url)
        until(second, "Number(document.querySelector('[data-states]').dataset.frames || 0) > 5")
        assert page.locator(".uplot canvas").count() >= 2
        page.get_by_role("button", name="Hold 1500 rpm").click()
        unfold(page.get_by_text("The same as numbers"))
        until(page, "document.querySelectorAll('[data-numbers] tr').length > 5")
        page.evaluate("scrollTo(0, 0)")
        keep(page, "page-record-phone")
        assert violations(page) == []
        rows = page.request.get(page.url + "/readings.csv").text().splitlines()
        assert rows[0].startswith("time [s],")
        assert len(rows) > 100
        page.evaluate("navigator.serviceWorker && navigator.serviceWorker.ready.then(() => 1)")
        lesson = page.url.replace("/record", "/learning/pedal-released-position")
        taken = page.url
    # The server is gone: the open page says so, and another one says how to bring it back.
    page.wait_for_selector("[data-lost]:not([hidden])")
    second.goto(lesson)
    assert "The server is away" in second.inner_text("h1")
    assert list((tmp_path / "captures").glob("*.parquet")) != []
    assert taken.endswith("/record")
    context.close()


def coached(person: Person, address: str) -> None:
    page = person.page
    patient(page)
    page.goto(f"{address}/learning/throttle-closed-position/coach")
    begins(person)


def judged(person: Person) -> str:
    person.page.wait_for_selector("[data-see]:not([hidden])")
    person.tap(person.page.locator("[data-see]"))
    person.comes("attempt/*")
    return person.page.inner_text("h1")


def attempted(person: Person, car: str, *, hears: bool) -> str:
    """How an attempt is judged; and what the page says of it.

    Where the machine was too busy the attempt is void, or a reading is missing that decides: then
    it is begun again, as anybody would.
    """
    for left in (2, 1, 0):
        try:
            coached(person, car)
            closed_position(person, hears=hears)
        except Over as over:
            if "stood still" not in str(over) or not left:
                raise
            continue
        if not hears:
            person.page.wait_for_selector("[data-phase=lost]")
            assert "when it was not so" in person.page.inner_text("[data-told]")
        said = judged(person)
        told = person.page.inner_text("main")
        if "cannot tell" not in said or not left:
            break
    return f"{said}\n{told}"


def test_what_is_heard_in_the_practice_car_is_told_by_a_tap_and_what_is_not_is_none(
    page: Page, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bellmouth.learning.coach._VOID_S", 120.0)  # as patient() on the page
    person = Person(page)
    page.goto(address)
    person.button("Take a practice car")
    person.comes("record")
    car = page.url.removesuffix("/record")
    # Nothing has to be heard in this one: key and pedal are all there is to press.
    page.goto(f"{car}/learning/pedal-released-position/coach")
    page.wait_for_selector("[data-ready=yes]")
    assert page.locator("[data-coach]").get_attribute("data-taps") is None
    # Told before the plate moves: lost at once, and missed.
    said = attempted(person, car, hears=False)
    assert said.startswith("Throttle closed position: missed"), said
    # Told when it is heard: met.
    said = attempted(person, car, hears=True)
    assert said.startswith("Throttle closed position: met"), said


def test_every_speed_that_may_be_asked_for_can_be_held(client: TestClient) -> None:
    car = client.post("/practice", follow_redirects=False).headers["location"]
    client.post(f"{car}/live", follow_redirects=False)
    foot = client.get(car).text
    for rpm in (0, *asked_rpm()):
        assert f'name="value" value="{rpm}"><button>' in foot
    client.post(f"{car}/stop")
