"""The practice car on the page: recorded live, its pedal in the person's hands, and a server that
goes away.
"""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.pages.photograph import browser as chromium
from tests.pages.site.served import PATIENCE_MS, PHONE, keep, served, until, violations

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
        page.get_by_text("The same as numbers").click()
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
