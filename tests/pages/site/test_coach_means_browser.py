"""What the coach uses besides its tones: voice, vibration, flash, the screen kept awake; and what
ends an attempt: a device that stood still, sound that was interrupted, a page that was hidden.
"""

import httpx2
import pytest
from playwright.sync_api import Page

from tests.pages.photograph import browser as chromium
from tests.pages.site.served import patient, until

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "pedal-released-position"
#: A device that only writes down what it is asked for.
DEVICE = """
window.asked = { awake: 0, released: 0, shaken: [], said: [], flashed: 0 };
Object.defineProperty(navigator, "wakeLock", { value: { request: async () => {
  asked.awake += 1;
  return { release: async () => { asked.released += 1; } };
} } });
Object.defineProperty(navigator, "vibrate", { value: (pattern) => { asked.shaken.push(pattern); return true; } });
Object.defineProperty(window, "speechSynthesis", { value: { cancel() {}, speak(one) { asked.said.push([one.lang, one.text]); } } });
new MutationObserver((seen) => {
  for (const one of seen) if (one.target.classList && one.target.classList.contains("flash")) asked.flashed += 1;
}).observe(document, { attributes: true, attributeFilter: ["class"], subtree: true });
"""  # noqa: E501


@pytest.fixture
def car(address: str, request: pytest.FixtureRequest) -> str:
    """A car of its own: the last test's page may still hold its car's seat for seconds."""
    data = {"name": request.node.name, "displacement_l": "2.0", "metering": "airflow"}
    answer = httpx2.post(f"{address}/cars", data=data, headers={"origin": address})
    return f"{address}{answer.headers['location']}".removesuffix("/record")


def open_coach(page: Page, car: str, *, strict: bool = False) -> None:
    if not strict:
        patient(page)
    page.add_init_script(DEVICE)
    page.goto(f"{car}/learning/{PROCEDURE}")
    page.get_by_label("I have checked this").check()
    page.get_by_role("button", name="Coach me through it").click()
    page.wait_for_selector("[data-ready=yes]")


def start(page: Page) -> None:
    page.get_by_role("button", name="Start: 8 s count-in").click()
    page.wait_for_selector("[data-phase=running]")


def test_it_speaks_shakes_flashes_and_keeps_the_screen_awake(car: str, page: Page) -> None:
    open_coach(page, car)
    start(page)
    assert page.evaluate("asked.awake") == 1
    assert not page.is_visible("[data-awake]")
    until(page, "document.querySelector('[data-part=digits]').innerText === 'NOW'")
    until(page, "asked.said.length > 0 && asked.shaken.length > 0 && asked.flashed > 0")
    assert page.evaluate("asked.said.at(-1)[0]") == "en"
    page.get_by_role("button", name="STOP").click()
    page.wait_for_selector("[data-phase=stopped]")
    until(page, "asked.released === 1")
    assert page.evaluate("asked.shaken.at(-1)") == [400, 100, 400]
    assert "Pedal up, key off, wait 10 s" in page.inner_text("[data-told]")


def test_what_is_not_wanted_stays_off(car: str, page: Page) -> None:
    open_coach(page, car)
    for name in ("Voice", "Vibration", "Flash"):
        page.get_by_label(name).uncheck()
    start(page)
    until(page, "document.querySelector('[data-part=digits]').innerText === 'NOW'")
    page.get_by_role("button", name="STOP").click()
    page.wait_for_selector("[data-phase=stopped]")
    assert page.evaluate("[asked.said, asked.shaken, asked.flashed]") == [[], [], 0]


def test_where_less_motion_is_wanted_nothing_flashes(car: str, page: Page) -> None:
    page.emulate_media(reduced_motion="reduce")
    open_coach(page, car)
    start(page)
    until(page, "document.querySelector('[data-part=digits]').innerText === 'NOW'")
    assert page.evaluate("asked.flashed") == 0
    assert page.evaluate("asked.shaken.length") > 0


def test_without_a_lock_on_the_screen_it_says_so(car: str, page: Page) -> None:
    open_coach(page, car)
    page.evaluate("() => { navigator.wakeLock.request = () => Promise.reject(new Error()); }")
    start(page)
    assert page.is_visible("[data-awake]")


def test_the_lock_is_taken_again_when_the_page_is_seen_again(car: str, page: Page) -> None:
    open_coach(page, car)
    start(page)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    until(page, "asked.awake === 2")


def test_a_device_that_stood_still_makes_the_attempt_void(car: str, page: Page) -> None:
    open_coach(page, car, strict=True)
    page.get_by_label("Quiet").check()
    start(page)
    # As a suspend does: no frame for two seconds.
    page.evaluate("{ const until = performance.now() + 2000; while (performance.now() < until); }")
    page.wait_for_selector("[data-phase=void]")
    assert "This device stood still for" in page.inner_text("[data-told]")
    page.wait_for_selector("[data-see]:not([hidden])")
    page.locator("[data-see]").click()
    page.wait_for_url("**/attempt/*")
    assert page.inner_text("h1") == "Pedal released position: void"


def test_sound_that_is_interrupted_makes_the_attempt_void(car: str, page: Page) -> None:
    """As a telephone call does."""
    open_coach(page, car)
    page.evaluate("localStorage.setItem('coach quiet', 'false')")
    page.get_by_label("Quiet").uncheck()
    start(page)
    page.evaluate("coachSound.clock.context.suspend()")
    page.wait_for_selector("[data-phase=void]")
    assert "The sound was interrupted" in page.inner_text("[data-told]")


def test_sound_that_comes_late_is_sounded_so_much_sooner(car: str, page: Page) -> None:
    open_coach(page, car)
    page.get_by_label("Sound comes late by").fill("250")
    page.get_by_role("button", name="Sound check").click()
    until(page, "document.querySelector('[data-told]').innerText.includes('press')")
    start(page)
    until(page, "window.coachSound.sound.log.length > 4")
    assert page.evaluate("coachSound.sound.early") == pytest.approx(0.25)
    # The first ones are due at once, and late where the first frame was.
    leads = page.evaluate("coachSound.sound.log.slice(-4).map((one) => one.when - one.at)")
    assert leads == pytest.approx([0.25] * 4, abs=0.001)
    # It is as late tomorrow: kept on this device.
    page.reload()
    assert page.get_by_label("Sound comes late by").input_value() == "250"
