"""What goes wrong around a coached attempt: a second tap, a device that slept, a server that is
silent or does not know this browser, a foot that moves quicker than the connection.
"""

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest
from playwright.sync_api import Page, Route

from tests.pages.photograph import browser as chromium
from tests.pages.site.other_processes import Car, Server, car_process
from tests.pages.site.served import patient, until

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "pedal-released-position"
SLEEPER = """(() => {
  const awake = Date.now.bind(Date);
  window.slept = 0;
  Date.now = () => awake() + window.slept;
})()"""
#: The first movement is slow on its way, as over a poor connection; each is noted as it arrives.
SLOW = """() => {
  const plain = window.fetch;
  let sent = 0;
  window.arrived = [];
  window.fetch = async (address, told) => {
    if (!String(address).endsWith("/act")) return plain(address, told);
    sent += 1;
    if (sent === 1) await new Promise((done) => setTimeout(done, 400));
    const answer = await plain(address, told);
    window.arrived.push(told.body.get("value"));
    return answer;
  };
}"""


@pytest.fixture
def car(address: str, request: pytest.FixtureRequest) -> str:
    """A car of its own, by its address: the last test's page may still hold its car's seat."""
    data = {"name": request.node.name, "displacement_l": "2.0", "metering": "airflow"}
    answer = httpx2.post(f"{address}/cars", data=data, headers={"origin": address})
    return f"{address}{answer.headers['location']}".removesuffix("/record")


@pytest.fixture(scope="module")
def practice(address: str) -> str:
    """A practice car, by its address."""
    data = {"fault": "healthy", "seed": "3"}
    answer = httpx2.post(
        f"{address}/practice", data=data, headers={"origin": address}, timeout=120.0
    )
    return f"{address}{answer.headers['location']}".removesuffix("/record")


def open_coach(page: Page, car: str, language: str = "en") -> None:
    page.context.add_cookies([{"name": "bellmouth_language", "value": language, "url": car}])
    page.goto(f"{car}/learning/{PROCEDURE}")
    page.locator("[name=manual]").check()
    page.locator("button[value=taps]").click()
    page.wait_for_selector("[data-ready=yes]")


def open_practice(page: Page, practice: str) -> None:
    patient(page)
    page.goto(f"{practice}/learning/throttle-closed-position/coach")
    page.wait_for_selector("[data-ready=yes]")
    begin(page)


def begin(page: Page) -> None:
    page.locator("[data-start]").click()
    page.wait_for_selector("[data-phase=running]")


def stop(page: Page) -> None:
    page.keyboard.press("Escape")
    page.wait_for_selector("[data-phase=stopped]")
    page.wait_for_selector("[data-see]:not([hidden])")


def test_a_start_that_is_tapped_twice_begins_once(car: str, page: Page) -> None:
    """The second tap took the seat's name away: the page said that another one was coaching."""
    patient(page)
    open_coach(page, car)
    seats = []
    page.on("request", lambda one: seats.append(one) if one.url.endswith("/seat") else None)
    page.evaluate("{ const it = document.querySelector('[data-start]'); it.click(); it.click(); }")
    page.wait_for_selector("[data-phase=running]")
    until(page, "Number(document.querySelector('[data-part=digits]').innerText) < 7")
    assert not page.is_visible("[data-other]")
    assert len({one.post_data_json["id"] for one in seats}) == 1
    stop(page)


def test_a_device_that_slept_with_its_clock_stopped_makes_the_attempt_void(
    car: str, page: Page
) -> None:
    """Where the monotonic clock stands while a device sleeps, only the day's clock tells."""
    page.add_init_script(SLEEPER)
    open_coach(page, car, "de")
    page.locator("[name=quiet]").check()
    begin(page)
    page.evaluate("window.slept = 30500")
    page.wait_for_selector("[data-phase=void]")
    assert "30,5 s" in page.inner_text("[data-told]")


def test_what_did_not_come_in_time_is_told_in_the_readers_language(car: str, page: Page) -> None:
    """It was English in the middle of a German sentence."""

    def hurried(route: Route) -> None:
        answer = route.fetch()
        told = answer.json()
        first = told["stretches"][0]
        first["waits"] = {"event": "lamp", "words": "die Lampe blinkt", "timeout_s": 12}
        first["ends_s"] = 0.5
        route.fulfill(response=answer, json=told)

    patient(page)
    page.route("**/plan?*", hurried)
    open_coach(page, car, "de")
    begin(page)
    page.wait_for_selector("[data-phase=lost]")
    assert "12 s: die Lampe blinkt" in page.inner_text("[data-told]")
    assert "Not within" not in page.inner_text("main")


def test_taps_are_kept_for_a_server_that_does_not_know_this_browser_for_now(
    car: str, page: Page
) -> None:
    """Paired anew in the meantime: they were thrown away without a word."""
    patient(page)
    open_coach(page, car)
    page.route("**/attempt", lambda route: route.fulfill(status=401, body="not paired"))
    begin(page)
    page.keyboard.press("Escape")
    page.wait_for_selector("[data-unsent]:not([hidden])")
    page.unroute("**/attempt")
    page.wait_for_selector("[data-see]:not([hidden])")


def test_taps_that_are_refused_for_good_say_why(car: str, page: Page) -> None:
    patient(page)
    open_coach(page, car)
    why = "There is no such procedure. Choose one from the list."
    page.route("**/attempt", lambda route: route.fulfill(status=400, json={"error": why}))
    begin(page)
    page.keyboard.press("Escape")
    until(page, f"document.querySelector('[data-told]').innerText.includes('{why}')")
    assert not page.is_visible("[data-unsent]")


def test_the_space_bar_on_the_stop_stops_and_moves_no_pedal(practice: str, page: Page) -> None:
    open_practice(page, practice)
    page.focus("[data-stop]")
    page.keyboard.press("Space")
    page.wait_for_selector("[data-phase=stopped]")
    assert page.get_attribute("[data-act=pedal]", "aria-pressed") == "false"
    page.wait_for_selector("[data-see]:not([hidden])")


def test_a_foot_that_comes_off_never_overtakes_its_press(practice: str, page: Page) -> None:
    """The pedal was left down where the press was longer on its way than the release."""
    open_practice(page, practice)
    page.evaluate(SLOW)
    page.keyboard.press("Space", delay=50)
    until(page, "window.arrived.length === 2")
    assert page.evaluate("window.arrived") == ["100", "0"]
    stop(page)


def test_caps_lock_does_not_make_a_control_a_tap(practice: str, page: Page) -> None:
    open_practice(page, practice)
    before = page.get_attribute("[data-act=key]", "aria-pressed")
    sent = []
    page.on("request", lambda one: sent.append(one) if one.url.endswith("/mark") else None)
    with page.expect_request("**/practice/act") as asked:
        page.keyboard.press("K")
    assert "control=key" in (asked.value.post_data or "")
    assert sent == []
    assert before != page.get_attribute("[data-act=key]", "aria-pressed")
    stop(page)


@pytest.mark.parametrize("size", [(844, 390), (1280, 720)])
def test_what_is_pressed_stands_above_the_stop_on_a_screen_wider_than_high(
    practice: str, page: Page, size: tuple[int, int]
) -> None:
    """On a telephone held sideways key and pedal were a page further down, at a desk under STOP."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    open_practice(page, practice)
    until(page, "document.querySelector('[data-windows]').dataset.drawn > 2")
    top = page.locator("[data-stop]").evaluate("(one) => one.getBoundingClientRect().top")
    for what in ("[data-zone]", "[data-act=key]", "[data-act=start]", "[data-act=pedal]"):
        box = page.locator(what).bounding_box()
        assert box is not None
        assert box["y"] >= 0, what
        assert box["y"] + box["height"] <= top + 1, what
    digits = page.locator("[data-part=digits]").bounding_box()
    assert digits is not None
    assert digits["y"] >= 0
    assert digits["y"] + digits["height"] <= top
    stop(page)


class TestASilentServer:
    """One that is there and says nothing, as over a radio link that is gone."""

    @pytest.fixture
    def seat(self) -> Iterator[Car]:
        with car_process() as found:
            yield found

    def test_nobody_is_coached_by_it(self, seat: Car, page: Page, tmp_path: Path) -> None:
        """The page went on with an old step, and said nothing."""
        with Server(tmp_path, patient=True) as server:
            address = server.new_car("Silent")
            page.goto(f"{address}/learning/{PROCEDURE}")
            page.get_by_label("I have checked this").check()
            page.get_by_label("Kind of adapter").fill("slcan")
            page.get_by_label("Port of the adapter").fill(seat.channel)
            page.get_by_role("button", name="Follow the car live").click()
            page.wait_for_selector("[data-ready=yes]")
            begin(page)
            until(page, "Number(document.querySelector('[data-part=digits]').innerText) < 8")
            os.kill(server.process_id, signal.SIGSTOP)
            try:
                page.wait_for_selector("[data-phase=void]", timeout=20_000)
                assert page.is_visible("[data-lost]")
                assert "The server does not answer" in page.inner_text("[data-told]")
            finally:
                os.kill(server.process_id, signal.SIGCONT)
            page.wait_for_selector("[data-see]:not([hidden])")
