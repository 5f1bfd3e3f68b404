"""The page in a real browser: a whole job, themes, keyboard, languages, and what axe says of it."""

import re
import tempfile
import time
from pathlib import Path

import httpx2
import pytest
from playwright.sync_api import Browser, Page, Response, expect

from bellmouth.book.book import Book
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from tests.finding.test_family import family
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import DESK, PATIENCE_MS, PHONE, keep, violations

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "idle-air-learning-by-pedal"


@pytest.fixture(scope="module")
def car(address: str, program: Browser, files: tuple[Path, Path]) -> str:
    """A car whose job has come to its proof, with its address; made by hand, in the browser."""
    page = program.new_page(viewport=PHONE, service_workers="block")
    page.set_default_timeout(PATIENCE_MS)
    found = whole_job(page, address, files)
    page.close()
    return found


def whole_job(page: Page, address: str, files: tuple[Path, Path]) -> str:
    page.goto(address)
    page.get_by_label("What the shop calls it").fill("White van, 7")
    page.get_by_label("Displacement").fill("2,0")
    page.get_by_label("Specified warm idle").fill("700")
    page.get_by_label("Odometer").fill("84000")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/record")
    car = page.url.removesuffix("/record")
    page.get_by_label("CSV, Parquet").set_input_files(files[0])
    page.get_by_role("button", name="Read and judge").click()
    page.wait_for_url("**/finding")
    assert "meter low" in page.inner_text("main")
    keep(page, "page-finding-phone")
    page.get_by_role("link", name="On to the work").first.click()
    done = page.get_by_role("group", name="What was really done")
    done.get_by_label("clean airflow meter").check()
    done.get_by_label("clean plate and bore").check()
    page.get_by_role("button", name="It is done").click()
    page.wait_for_url("**/learning")
    assert "Idle air learning by pedal pattern" in page.inner_text("main")
    page.get_by_role("link", name="Record after the work").click()
    page.get_by_label("CSV, Parquet").set_input_files(files[1])
    page.get_by_role("button", name="Read and judge").click()
    page.wait_for_url("**/proof")
    page.get_by_role("link", name="5 Proof").click()
    page.wait_for_url("**/proof")
    assert "Better" in page.inner_text("h1")
    return car


def test_a_whole_job_goes_from_car_to_proof(car: str) -> None:
    assert car.endswith(car.rsplit("/", 1)[-1])


#: Answers to GET that are no pages: downloads, pictures, streams and data.
NO_PAGES = re.compile(
    r".*(\.csv|\.svg|\.pdf|\.zip|\.toml|\.json|/report\.html|\.\{ending\}|/photo/\{number\}|/sw\.js|/record/states|/record/over|/plan"
    r"|/live|/clock|/coached/\{ident\})|/api/.*|/onsets\.js"
)


def pages_of(car: str) -> list[str]:
    """Every page that there is, of a car whose job has come to its proof."""
    address = car.rsplit("/car/", 1)[0]
    inside = [
        "record", "finding", "work", "learning", "proof", "book", f"learning/{PROCEDURE}", "codes",
        "card", "again", "delete", "facts", "recording/3", "clear", "cleared",
        f"learning/{PROCEDURE}/coach", f"attempt/{_attempt(car)}",
        f"learning/{PROCEDURE}/chances", *(f"entry/{number}" for number in range(1, 9)),
    ]  # fmt: skip
    outside = [
        "procedures", "procedures?work=throttle_cleaned", "known",
        *(f"known/procedure/{PROCEDURE}{one}" for one in ("", "/card.html", "/script.html")),
        "counts", "care", "files",
        "families", f"families/{_family(address)}", "survey", f"survey/{_survey(address)}",
        "pair", "offline",
    ]  # fmt: skip
    return [
        f"{address}/",
        *(f"{car}/{one}" for one in inside),
        *(f"{address}/{one}" for one in outside),
        f"{address}/nowhere",
    ]


def _post(address: str, path: str, **sent: object) -> httpx2.Response:
    return httpx2.post(
        f"{address}{path}", headers={"origin": address}, timeout=60.0, follow_redirects=True,
        **sent,  # type: ignore[arg-type]
    )  # fmt: skip


def _attempt(car: str) -> str:
    """An attempt that was judged from a recording that shows nothing of it."""
    address, path = car.split("/car/", 1)
    csv = b"time [s],engine_speed [rpm]\n0.0,700\n1.0,700\n2.0,700\n"
    answer = _post(
        address, f"/car/{path}/learning/{PROCEDURE}/judge", files={"file": ("a.csv", csv)}
    )
    return str(answer.url).rsplit("/", 1)[-1]


def _family(address: str) -> str:
    with tempfile.TemporaryDirectory() as folder:
        family().write(Path(folder) / "f.toml")
        content = (Path(folder) / "f.toml").read_bytes()
    answer = _post(address, "/families/file", files={"file": ("f.toml", content)})
    return str(answer.url).rsplit("/", 1)[-1]


def _survey(address: str) -> str:
    """A survey that is through."""
    where = str(_post(address, "/survey/book").url)
    end = time.monotonic() + PATIENCE_MS / 1000.0
    while "findings.csv" not in httpx2.get(where, timeout=60.0).text:
        assert time.monotonic() < end
        time.sleep(0.2)
    return where.rsplit("/", 1)[-1]


@pytest.fixture(scope="module")
def pages(car: str) -> list[str]:
    return pages_of(car)


def test_the_walk_leaves_out_no_page(pages: list[str], tmp_path: Path) -> None:
    """A page that is added to the application has to be added to the walk."""
    app = create_app(Garage(Book(tmp_path / "book")), Settings(frozenset()))
    paths = {path for path, route in all_routes(app.routes) if "GET" in route}
    assert {"/", "/car/{key}/finding", "/known"} <= paths
    walked = ["/" + one.split("/", 3)[3] for one in pages]

    def is_walked(path: str) -> bool:
        shape = re.sub(r"\{\w+\}", "[^/]+", path.replace(".", r"\."))
        return any(re.fullmatch(shape, one) for one in walked)

    assert [path for path in sorted(paths) if not NO_PAGES.fullmatch(path)
            and not is_walked(path)] == []  # fmt: skip


def all_routes(routes: object) -> list[tuple[str, set[str]]]:
    """Addresses and methods of an application, those of included parts too."""
    found = []
    for one in routes:  # type: ignore[attr-defined]
        inner = getattr(one, "original_router", None)
        if inner is not None:
            found += all_routes(inner.routes)
        elif hasattr(one, "methods"):
            found.append((one.path, set(one.methods or ())))
    return found


def test_no_page_has_anything_that_axe_objects_to(car: str, pages: list[str], page: Page) -> None:
    """Every page by every rule, and the colours of every light; in sun to 7:1."""
    page.goto(f"{car}/learning/{PROCEDURE}")
    page.get_by_label("I have checked this").check()
    page.get_by_role("button", name="Coach me").click()
    page.wait_for_url("**/coach*")
    found = []
    for where in pages:
        page.goto(where)
        # The lights are a few variables: a page of each kind shows them all.
        every = where.endswith(("/", "/coach", "/record", "/finding", "/book"))
        for light in ("day", "sun", "garage") if every else ("day",):
            page.evaluate(f"document.documentElement.dataset.light = '{light}'")
            rules = None if light == "day" else {"runOnly": ["color-contrast"]}
            if light == "sun":
                rules = {"runOnly": ["color-contrast", "color-contrast-enhanced"]}
            said = violations(page, rules)
            found += [(where, light, one["id"], one["nodes"][0]["target"]) for one in said]
    assert found == []


def test_nothing_sticks_out_of_any_page(pages: list[str], page: Page) -> None:
    for where in pages:
        page.goto(where)
        for direction in ("ltr", "rtl"):
            page.evaluate(f"document.documentElement.dir = '{direction}'")
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= PHONE["width"], (where, direction)


def test_pictures_answer_to_keys_and_stay_without_them(car: str, page: Page) -> None:
    page.goto(f"{car}/finding")
    plots = page.get_by_role("slider")
    expect(plots).to_have_count(2)
    trim = page.get_by_role("slider", name="Total trim against airflow")
    trim.focus()
    page.keyboard.press("ArrowRight")
    expect(trim).to_have_attribute("aria-valuetext", re.compile("if .*%.*read here"))
    page.keyboard.press("+")
    page.keyboard.press("End")
    expect(trim).to_have_attribute("aria-valuetext", re.compile(r"\[2 held\]"))
    line = page.get_by_role("button", name="read here").first
    line.click()
    expect(line).to_have_attribute("aria-pressed", "false")
    expect(trim).not_to_have_attribute("aria-valuetext", re.compile("read here"))
    page.get_by_role("button", name="Garage").click()
    assert violations(page) == []
    trim.scroll_into_view_if_needed()
    keep(page, "page-finding-plots-garage")
    plain = page.context.browser
    assert plain is not None
    without = plain.new_page(java_script_enabled=False, viewport=PHONE, service_workers="block")
    without.goto(f"{car}/finding")
    expect(without.locator("figure svg").first).to_be_visible()
    without.close()


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
    page.wait_for_selector("html[lang=de]")
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
    address = car.rsplit("/car/", 1)[0]
    page.set_viewport_size(DESK)
    page.goto(f"{car}/proof")
    keep(page, "page-proof-desk")
    for where, name in ((f"{car}/finding", "finding"), (f"{car}/book", "book")):
        page.goto(where)
        page.locator("[data-plot]").first.scroll_into_view_if_needed()
        keep(page, f"page-{name}-desk")
    page.emulate_media(color_scheme="dark")
    page.goto(f"{address}/")
    keep(page, "page-first-desk-dark")
    page.set_viewport_size(PHONE)
    page.goto(f"{car}/work")
    keep(page, "page-work-phone-dark")
    page.emulate_media(color_scheme="light")
    page.goto(f"{address}/")
    keep(page, "page-first-phone")
    page.goto(f"{car}/learning")
    page.get_by_role("button", name="Garage").click()
    page.reload()
    assert page.get_attribute("html", "data-light") == "garage"
    keep(page, "page-learning-garage")


def test_the_back_button_sends_nothing_twice(car: str, page: Page) -> None:
    page.goto(f"{car}/work")
    page.get_by_role("group", name="What was really done").get_by_label("relearn").check()
    page.get_by_role("button", name="It is done").click()
    page.wait_for_url("**/learning")
    page.goto(f"{car}/book")
    before = page.locator("#entries + ol > li").count()
    for _ in range(2):
        # The page may load itself anew at once, which ends the first loading early.
        page.evaluate("setTimeout(() => history.back(), 0)")
        page.wait_for_timeout(1000)
        expect(page.locator("ol.stages")).to_be_visible()
    page.goto(f"{car}/book")
    assert page.locator("#entries + ol > li").count() == before
