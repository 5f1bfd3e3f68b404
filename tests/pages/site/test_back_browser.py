"""The back button at every step of a job, two browsers on one job, and files that are too large,
in a real browser: nothing is done twice and nothing is lost.
"""

import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from bellmouth.book.book import Book
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import PATIENCE_MS, back, patient, served, violations

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]


def fill(page: Page, name: str) -> None:
    page.get_by_label("What the shop calls it").fill(name)
    page.get_by_label("Displacement").fill("2.0")


def send(page: Page, file: Path) -> None:
    page.get_by_label("CSV, Parquet").set_input_files(file)
    page.get_by_role("button", name="Read and judge").click()


def back_and_again(page: Page, button: str) -> None:
    """Back to the form that was just sent, as it was sent, and send it again."""
    back(page)
    page.get_by_role("button", name=button).click()


def test_back_and_again_at_every_step_of_a_job(
    context: BrowserContext, files: tuple[Path, Path], tmp_path: Path
) -> None:
    page = context.new_page()
    with served(tmp_path) as address:
        page.goto(address)
        fill(page, "Back")
        page.get_by_role("button", name="Open the job").click()
        page.wait_for_url("**/record")
        record = page.url
        back(page)
        if not page.get_by_label("What the shop calls it").input_value():
            fill(page, "Back")
        page.get_by_role("button", name="Open the job").click()
        page.wait_for_url("**/record")
        assert page.url == record
        send(page, files[0])
        page.wait_for_url("**/finding")
        back(page)
        send(page, files[0])
        page.wait_for_url("**/finding")
        assert "meter low" in page.inner_text("main")
        page.get_by_role("link", name="On to the work").first.click()
        done = page.get_by_role("group", name="What was really done")
        done.get_by_label("clean airflow meter").check()
        page.get_by_role("button", name="It is done").click()
        page.wait_for_url("**/learning")
        back(page)
        if not done.get_by_label("clean airflow meter").is_checked():
            done.get_by_label("clean airflow meter").check()
        page.get_by_role("button", name="It is done").click()
        page.wait_for_url("**/learning")
        page.goto(record)
        send(page, files[1])
        page.wait_for_url("**/proof")
        back(page)
        send(page, files[1])
        page.wait_for_url("**/proof")
        assert "Better" in page.inner_text("main")
        page.get_by_role("link", name="2 Finding").click()
        page.wait_for_url("**/finding")
        page.get_by_role("link", name="5 Proof").click()
        page.wait_for_url("**/proof")
        assert "Better" in page.inner_text("main")
        kinds = [one.kind for one in Book(tmp_path / "book").history("Back").entries]
    assert kinds.count("job") == 1
    assert kinds.count("recording") == 2
    assert kinds.count("proof") == 1
    assert kinds.count("finding") == 1
    assert kinds.count("work") in {1, 2}, "what was done may be said again; it is said, not lost"


def test_a_form_that_was_refused_still_holds_what_was_typed(address: str, page: Page) -> None:
    page.goto(address)
    fill(page, "Typed")
    page.get_by_label("Displacement").fill("big")
    page.get_by_role("button", name="Open the job").click()
    assert "Displacement" in page.inner_text("main")
    page.get_by_role("link", name="Back").click()
    page.wait_for_url(address + "/")
    assert page.get_by_label("What the shop calls it").input_value() == "Typed"
    page.get_by_label("Displacement").fill("1.6")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/record")


def test_back_in_the_middle_of_an_attempt_makes_it_void(address: str, page: Page) -> None:
    page.goto(address)
    fill(page, "Left")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/record")
    patient(page)
    lesson = page.url.replace("/record", "/learning/pedal-released-position")
    page.goto(lesson)
    page.get_by_label("I have checked this").check()
    page.get_by_role("button", name="Coach me through it").click()
    page.wait_for_selector("[data-ready=yes]")
    page.get_by_role("button", name="Start: 8 s count-in").click()
    page.wait_for_selector("[data-phase=running]")
    page.wait_for_timeout(500)
    back(page)
    page.wait_for_url(lesson)
    page.goto(lesson.removesuffix("/pedal-released-position"))
    end = time.monotonic() + PATIENCE_MS / 1000.0
    while not page.get_by_role("link", name="void").count():
        assert time.monotonic() < end
        page.wait_for_timeout(200)
        page.reload()
    page.get_by_role("link", name="void").click()
    page.wait_for_url("**/attempt/*")
    assert "The page was left" in page.inner_text("main")
    assert page.get_by_role("link", name="void").count() <= 1


def test_two_browsers_work_on_one_job(
    program: Browser, files: tuple[Path, Path], tmp_path: Path
) -> None:
    one, two = (program.new_context(service_workers="block") for _ in range(2))
    with served(tmp_path) as address:
        first, second = one.new_page(), two.new_page()
        for page in (first, second):
            page.set_default_timeout(PATIENCE_MS)
        first.goto(address)
        fill(first, "Shared")
        first.get_by_role("button", name="Open the job").click()
        first.wait_for_url("**/record")
        second.goto(first.url)
        # Both send the same file; it is one recording, and both see its finding.
        send(first, files[0])
        send(second, files[0])
        for page in (first, second):
            page.wait_for_url("**/finding")
            assert "meter low" in page.inner_text("main")
        # One writes down the work, the other goes on from there.
        first.goto(first.url.replace("/finding", "/work"))
        group = first.get_by_role("group", name="What was really done")
        group.get_by_label("clean airflow meter").check()
        first.get_by_role("button", name="It is done").click()
        first.wait_for_url("**/learning")
        second.goto(second.url.replace("/finding", "/record"))
        assert "done" in second.get_by_role("link", name="Work").inner_text()
        send(second, files[1])
        second.wait_for_url("**/proof")
        first.goto(first.url.replace("/learning", "/proof"))
        assert "Better" in first.inner_text("main")
        kinds = [each.kind for each in Book(tmp_path / "book").history("Shared").entries]
    one.close()
    two.close()
    assert [kinds.count(kind) for kind in ("recording", "work", "proof")] == [2, 1, 1]


def test_a_file_over_the_limit_is_refused_before_it_is_sent_and_after(
    address: str, page: Page, tmp_path: Path
) -> None:
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(65 << 20)
    page.goto(address)
    fill(page, "Large")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/record")
    sent: list[str] = []
    page.on("request", lambda one: sent.append(one.url) if one.method == "POST" else None)
    page.get_by_label("CSV, Parquet").set_input_files(large)
    page.get_by_role("button", name="Read and judge").click()
    assert sent == []
    told = page.get_by_label("CSV, Parquet").evaluate("(field) => field.validationMessage")
    assert told == "That is more than 64 MB. Give a shorter recording."
    # Without the script the server says it, on a page.
    page.evaluate("document.querySelector('#rec').setCustomValidity('')")
    page.get_by_role("button", name="Read and judge").click()
    page.wait_for_url("**/file?*")
    assert "more than 64\u00a0MB" in page.inner_text("main")
    assert len(sent) == 1


def test_back_shows_again_what_was_read_and_clears_nothing_twice(
    context: BrowserContext, tmp_path: Path
) -> None:
    page = context.new_page()
    with served(tmp_path) as address:
        page.goto(address)
        page.get_by_role("button", name="Take a practice car").click()
        page.wait_for_url("**/record")
        page.get_by_role("link", name="codes and readiness").click()
        page.get_by_role("button", name="Show what clearing would lose").click()
        page.wait_for_url("**/clear?read=*")
        assert violations(page) == []
        page.get_by_role("link", name="Keep everything").click()
        page.wait_for_url("**/codes")
        back(page)
        page.wait_for_url("**/clear?read=*")
        read = page.url
        page.get_by_label("Type the word").fill("clear")
        page.get_by_role("button", name="Clear the codes").click()
        page.wait_for_url("**/cleared")
        assert "has cleared its codes" in page.inner_text("main")
        # What was acted upon is not shown again: whoever goes back reads the car anew.
        page.goto(read)
        page.wait_for_url("**/codes#clear")
        page.get_by_role("link", name="its book").click()
        page.wait_for_url("**/book")
        assert page.locator("#entries + ol > li", has_text="note").count() == 1
