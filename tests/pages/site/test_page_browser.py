"""The page in a real browser: a whole job, themes, keyboard, languages, and what axe says of it."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Response, expect

from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import DESK, PATIENCE_MS, PHONE, keep, violations

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "idle-air-learning-by-pedal"


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("files")
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(recording, folder / recording.source)
    return folder / "before.csv", folder / "after.csv"


@pytest.fixture(scope="module")
def car(address: str, program: Browser, files: tuple[Path, Path]) -> str:
    """A car whose job has come to its proof, with its address; made by hand, in the browser."""
    page = program.new_page(viewport=PHONE)
    page.set_default_timeout(PATIENCE_MS)
    found = whole_job(page, address, files)
    page.close()
    return found


def whole_job(page: Page, address: str, files: tuple[Path, Path]) -> str:
    page.goto(address)
    page.get_by_label("What the shop calls it").fill("White van, 7")
    page.get_by_label("Displacement").fill("2,0")
    page.get_by_label("Specified warm idle").fill("700")
    page.get_by_label("Distance").fill("84000")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/record")
    car = page.url.removesuffix("/record")
    page.get_by_label("CSV, Parquet").set_input_files(files[0])
    page.get_by_role("button", name="Read and judge").click()
    assert "meter low" in page.inner_text("main")
    keep(page, "page-finding-phone")
    page.get_by_role("link", name="On to the work").click()
    done = page.get_by_role("group", name="What was really done")
    done.get_by_label("clean airflow meter").check()
    done.get_by_label("clean plate and bore").check()
    page.get_by_role("button", name="It is done").click()
    assert "Idle air learning by pedal pattern" in page.inner_text("main")
    page.get_by_role("link", name="Record after the work").click()
    page.get_by_label("CSV, Parquet").set_input_files(files[1])
    page.get_by_role("button", name="Read and judge").click()
    page.get_by_role("link", name="5 Proof").click()
    assert "Better" in page.inner_text("h1")
    return car


def test_a_whole_job_goes_from_car_to_proof(car: str) -> None:
    assert car.endswith(car.rsplit("/", 1)[-1])


def pages_of(car: str) -> list[str]:
    address = car.rsplit("/car/", 1)[0]
    inside = ["record", "finding", "work", "learning", "proof", "book", f"learning/{PROCEDURE}"]
    return [
        address,
        *(f"{car}/{one}" for one in inside),
        f"{address}/nowhere",
        f"{address}/offline",
    ]


def test_no_page_has_anything_that_axe_objects_to(car: str, page: Page) -> None:
    """Every page by every rule, and the colours of every light; in sun to 7:1."""
    page.goto(f"{car}/learning/{PROCEDURE}")
    page.get_by_label("I have checked this").check()
    page.get_by_role("button", name="Coach me").click()
    page.wait_for_url("**/coach*")
    found = []
    coach, *others = [page.url, *pages_of(car)]
    for where in [coach, *others]:
        page.goto(where)
        # The lights are a few variables: a page of each kind shows them all.
        every = where in {coach, *others[:3]}
        for light in ("day", "sun", "garage") if every else ("day",):
            page.evaluate(f"document.documentElement.dataset.light = '{light}'")
            rules = None if light == "day" else {"runOnly": ["color-contrast"]}
            if light == "sun":
                rules = {"runOnly": ["color-contrast", "color-contrast-enhanced"]}
            said = violations(page, rules)
            found += [(where, light, one["id"], one["nodes"][0]["target"]) for one in said]
    assert found == []


def test_nothing_sticks_out_of_any_page(car: str, page: Page) -> None:
    for where in pages_of(car):
        page.goto(where)
        for direction in ("ltr", "rtl"):
            page.evaluate(f"document.documentElement.dir = '{direction}'")
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= PHONE["width"], (where, direction)


def test_a_job_is_opened_by_keyboard_alone(address: str, page: Page) -> None:
    page.goto(address)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"

    def tab_to(what: str) -> None:
        for _ in range(40):
            if (
                page.evaluate("document.activeElement.id || document.activeElement.innerText")
                == what
            ):
                return
            page.keyboard.press("Tab")
        pytest.fail(f"{what} cannot be reached")

    tab_to("name")
    page.keyboard.type("By keyboard")
    tab_to("displacement")
    page.keyboard.type("1.6")
    tab_to("Open the job")
    page.keyboard.press("Enter")
    page.wait_for_url("**/record")
    tab_to("Start recording")


def test_the_page_speaks_german_and_miles(car: str, page: Page) -> None:
    page.goto(car.rsplit("/car/", 1)[0])
    page.get_by_label("Language").select_option("de")
    page.get_by_label("Units").select_option("us")
    page.get_by_role("button", name="Use these").click()
    assert page.get_attribute("html", "lang") == "de"
    assert page.inner_text("h1") == "Welches Auto?"
    assert "mi" in page.inner_text("table")
    page.goto(f"{car}/learning/{PROCEDURE}")
    assert "Zündung aus" in page.inner_text("main")


def test_the_first_page_is_small_and_takes_nothing_from_outside(address: str, page: Page) -> None:
    answers: list[Response] = []

    def note(answer: Response) -> None:
        answers.append(answer)

    page.on("response", note)
    page.goto(address)
    page.wait_for_load_state("networkidle")
    assert {one.url.startswith(address) for one in answers} == {True}
    first = [one for one in answers if one.status == 200 and one.request.service_worker is None]
    assert sum(len(one.body()) for one in first) < 200 * 1024


def test_at_a_desk_and_in_a_dark_garage_it_is_the_same_page(car: str, page: Page) -> None:
    page.set_viewport_size(DESK)
    page.goto(f"{car}/proof")
    keep(page, "page-proof-desk")
    page.set_viewport_size(PHONE)
    page.goto(f"{car}/learning")
    page.get_by_role("button", name="Garage").click()
    page.reload()
    assert page.get_attribute("html", "data-light") == "garage"
    keep(page, "page-learning-garage")


def test_the_back_button_sends_nothing_twice(car: str, page: Page) -> None:
    page.goto(f"{car}/work")
    page.get_by_role("group", name="What was really done").get_by_label("relearn").check()
    page.get_by_role("button", name="It is done").click()
    page.goto(f"{car}/book")
    before = page.locator("#entries + ol > li").count()
    for _ in range(2):
        # The page may load itself anew at once, which ends the first loading early.
        page.evaluate("setTimeout(() => history.back(), 0)")
        page.wait_for_timeout(1000)
        expect(page.locator("ol.stages")).to_be_visible()
    page.goto(f"{car}/book")
    assert page.locator("#entries + ol > li").count() == before
