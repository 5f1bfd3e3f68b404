"""Forms as a real browser sends them, with its scripts switched off: nothing of them needs any."""

from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest
from playwright.sync_api import Browser, Page, expect

from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import PATIENCE_MS, PHONE

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "idle-air-learning-by-pedal"


@pytest.fixture(scope="module")
def car(address: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A car with two recordings, work between them and a note."""
    folder = tmp_path_factory.mktemp("forms")

    def post(path: str, **sent: object) -> httpx2.Response:
        return httpx2.post(
            f"{address}{path}", headers={"origin": address}, timeout=120.0, **sent  # type: ignore[arg-type]
        )  # fmt: skip

    data = {"name": "By forms", "displacement_l": "2.0", "metering": "airflow", "idle_rpm": "700"}
    found = str(post("/cars", data=data).headers["location"]).removesuffix("/record")
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(recording, folder / recording.source)
        sent = {"file": (recording.source, (folder / recording.source).read_bytes())}
        assert post(f"{found}/record/file", files=sent).status_code == 303
        post(f"{found}/done", data={"work": ["clean_plate"]})
    post(f"{found}/note", data={"text": "left front"})
    return f"{address}{found}"


@pytest.fixture
def plain(program: Browser) -> Iterator[Page]:
    """A telephone without scripts."""
    page = program.new_page(java_script_enabled=False, viewport=PHONE)
    page.set_default_timeout(PATIENCE_MS)
    yield page
    page.close()


def test_an_entry_is_put_right(car: str, plain: Page) -> None:
    plain.goto(f"{car}/book")
    plain.get_by_role("listitem").filter(has_text="left front").get_by_role("link").click()
    plain.get_by_label("What should be remembered").fill("left rear")
    plain.get_by_role("button", name="Put this in its place").click()
    expect(plain.locator("#says + p")).to_have_text("left rear")
    plain.goto(f"{car}/finding")
    plain.goto(f"{car}/book")
    plain.get_by_role("listitem").filter(has_text=": finding").get_by_role("link").click()
    plain.get_by_role("button", name="Make it again in its place").click()
    expect(plain.locator("h1")).to_contain_text("finding")
    expect(plain.locator("main")).to_contain_text("in place of")


def test_two_recordings_are_chosen_to_prove(car: str, plain: Page, tmp_path: Path) -> None:
    plain.goto(f"{car}/proof")
    plain.get_by_text("or prove other recordings").click()
    plain.get_by_role("group", name="What was done between them").get_by_label("reseal").check()
    (tmp_path / "own.toml").write_text("leak = 1.0\n", encoding="utf-8")
    plain.get_by_label("Your own weights").set_input_files(tmp_path / "own.toml")
    plain.get_by_role("button", name="Prove it again").click()
    expect(plain.locator("#of + p")).to_contain_text("Done in between: reseal the leak.")
    expect(plain.locator("#of + p")).to_contain_text("With your own weights")


def test_an_attempt_is_judged_by_what_was_seen(car: str, plain: Page) -> None:
    plain.goto(f"{car}/learning/{PROCEDURE}")
    plain.get_by_text("What you saw or heard, and when").click()
    plain.get_by_label("The lamp stops blinking").fill("53,9")
    plain.get_by_role("group", name="What stood throughout").get_by_label("Gearbox warm").check()
    plain.get_by_role("button", name="Judge it").click()
    expect(plain.locator("h1")).to_contain_text("Idle air learning")


def test_a_procedure_is_left_out_and_why(car: str, plain: Page) -> None:
    plain.goto(f"{car}/learning")
    plain.get_by_text("Done already, or left out").first.click()
    plain.get_by_label("Or why it is left out").first.fill("the plate whirrs by itself")
    plain.get_by_role("button", name="Leave it out").first.click()
    expect(plain.locator("main")).to_contain_text("Left out, because the plate whirrs by itself.")
