"""The coach in a real browser: when its tones sound, what a tap means, and what makes it void."""

import re

import httpx2
import pytest
from playwright.sync_api import Page, expect

from tests.pages.photograph import browser as chromium
from tests.pages.site.served import PHONE, keep, patient, until, violations

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

PROCEDURE = "pedal-released-position"
LISTEN = """
window.onsets = [];
const Plain = window.AudioContext;
window.AudioContext = class extends Plain {
  constructor(options) {
    super(options);
    this.audioWorklet.addModule("/onsets.js").then(() => {
      window.tap = new AudioWorkletNode(this, "onsets");
      window.tap.port.onmessage = (event) => window.onsets.push(event.data);
    });
  }
};
const plain = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...more) {
  if (to === this.context.destination && window.tap) plain.call(this, window.tap);
  return plain.call(this, to, ...more);
};
"""

#: How many of its tones are over.
SOUNDED = """(({ clock, sound }) =>
  sound.log.filter((one) => one.at < clock.context.currentTime - 0.5).length)(window.coachSound)"""


@pytest.fixture
def car(address: str, request: pytest.FixtureRequest) -> str:
    """A car of its own, by its address: the last test's page may still hold its car's seat."""
    data = {"name": request.node.name, "displacement_l": "2.0", "metering": "airflow"}
    answer = httpx2.post(f"{address}/cars", data=data, headers={"origin": address})
    assert answer.status_code == 303
    return f"{address}{answer.headers['location']}".removesuffix("/record")


def open_coach(page: Page, car: str) -> None:
    patient(page)
    page.goto(f"{car}/learning/{PROCEDURE}")
    page.get_by_label("I have checked this").check()
    page.get_by_role("button", name="Coach me").click()
    page.wait_for_selector("[data-ready=yes]")


def phase(page: Page) -> str | None:
    return page.get_attribute("[data-coach]", "data-phase")


def test_no_coaching_before_the_manual_was_checked(car: str, page: Page) -> None:
    answer = page.goto(f"{car}/learning/idle-air-learning-by-pedal/coach")
    assert answer is not None
    assert answer.status == 400
    assert "not coached until" in page.inner_text("main")


def test_tones_sound_when_the_audio_clock_says_on_a_slow_device(car: str, page: Page) -> None:
    """Measured in the samples: within 10 ms of the plan, on a processor slowed down fourfold."""
    page.add_init_script(LISTEN)
    open_coach(page, car)
    page.get_by_role("button", name="Sound check").click()
    until(page, "window.tap && window.coachSound")
    slow = page.context.new_cdp_session(page)
    slow.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    page.get_by_role("button", name="Start").click()
    until(page, f"{SOUNDED} >= 7")
    keep(page, "page-coach-phone")
    now, log, early = page.evaluate(
        "({clock, sound}) => [clock.context.currentTime, sound.log, sound.early]",
        page.evaluate_handle("window.coachSound"),
    )
    # The first ones are due at once, and late where the first frame was; that is no plan.
    due = [one for one in log if one["at"] < now - 0.5 and one["laid"] < one["when"] - early]
    assert len(due) >= 5
    until(page, f"window.onsets.some((one) => one > {due[-1]['at']} - 0.010)")
    onsets = page.evaluate("window.onsets")
    page.get_by_role("button", name="STOP").click()
    for one in due:
        assert one["at"] == pytest.approx(one["when"] - early, abs=0.001)
        nearest = min(abs(heard - one["at"]) for heard in onsets)
        assert nearest < 0.010, one
    page.wait_for_selector("[data-phase=stopped]")
    assert "Pedal up, key off, wait 10 s" in page.inner_text("[data-told]")


def test_taps_are_kept_with_both_clocks_and_judged(car: str, page: Page) -> None:
    open_coach(page, car)
    sent = []
    page.on("request", lambda one: sent.append(one) if one.url.endswith("/attempt") else None)
    page.get_by_role("button", name="Start").click()
    until(page, "document.querySelector('[data-part=digits]').innerText === 'NOW'")
    page.keyboard.press("x")
    until(
        page,
        "document.querySelector('[data-part=say]').innerText.startsWith('Key off')"
        " && document.querySelector('[data-part=digits]').innerText === 'NOW'",
    )
    page.locator("[data-zone]").click()
    page.keyboard.press("Escape")
    page.wait_for_selector("[data-phase=stopped]")
    page.locator("[data-see]").click()
    page.wait_for_url("**/attempt/*")
    assert "Pedal released position" in page.inner_text("h1")
    taps = sent[0].post_data_json["taps"]
    assert [one["means"] for one in taps] == ["key_on", "key_off"]
    assert 8.0 < taps[0]["at_s"] < 10.0
    assert taps[1]["performance_ms"] > taps[0]["performance_ms"] > 0
    assert taps[1]["at_s"] <= sent[0].post_data_json["watched_s"] < taps[1]["at_s"] + 60.0
    assert page.locator("svg.attempt").count() == 1
    assert violations(page) == []


@pytest.mark.parametrize(
    ("language", "now", "stop"), [("en", "NOW", "STOP"), ("de", "JETZT", "HALT")]
)
def test_a_word_in_the_digits_place_is_not_cut_off_on_a_telephone(
    car: str, page: Page, language: str, now: str, stop: str
) -> None:
    page.set_viewport_size(PHONE)
    page.context.add_cookies([{"name": "bellmouth_language", "value": language, "url": car}])
    patient(page)
    page.goto(f"{car}/learning/{PROCEDURE}")
    page.locator("[name=manual]").check()
    page.locator("button[value=taps]").click()
    page.wait_for_selector("[data-ready=yes]")
    page.locator("[data-start]").click()
    whole = "((it) => it.innerText === '{}' && it.scrollWidth <= it.clientWidth)(document.{})"
    digits = "querySelector('[data-part=digits]')"
    until(page, whole.format(now, digits))
    page.keyboard.press("Escape")
    until(page, whole.format(stop, digits))
    assert [page.inner_text(f"[data-part={one}]") for one in ("say", "show", "next")] == [""] * 3


def test_one_reads_out_and_it_is_kept_whose_attempt_it_was(car: str, page: Page) -> None:
    open_coach(page, car)
    sent = []
    page.on("request", lambda one: sent.append(one) if one.url.endswith("/attempt") else None)
    page.get_by_label("Whose attempt").fill("7")
    page.get_by_label("Two people").check()
    page.get_by_role("button", name="Start").click()
    until(page, "document.querySelector('[data-part=say]').innerText.startsWith('Call: Key on')")
    until(page, "document.querySelector('[data-part=digits]').innerText === 'NOW'")
    page.keyboard.press("x")
    page.keyboard.press("Escape")
    page.wait_for_selector("[data-phase=stopped]")
    page.locator("[data-see]").click()
    page.wait_for_url("**/attempt/*")
    assert "Made by 7" in page.inner_text("main")
    told = sent[0].post_data_json
    assert told["person"] == "7"
    tap = told["taps"][0]
    assert (tap["step"], tap["kind"]) == ("key_on", "key")
    assert 0.0 <= tap["at_s"] - tap["cued_s"] < 5.0
    page.get_by_role("link", name="The chance to pass it").click()
    page.wait_for_url("**/chances*")
    assert "By the attempts of 7" in page.inner_text("main")
    page.goto(f"{car}/learning/{PROCEDURE}/coach")
    expect(page.get_by_label("Whose attempt")).to_have_value("7")


def test_a_page_that_is_hidden_makes_the_attempt_void(car: str, page: Page) -> None:
    open_coach(page, car)
    page.get_by_role("button", name="Start").click()
    page.wait_for_selector("[data-phase=running]")
    page.evaluate(
        "Object.defineProperty(document, 'hidden', {value: true});"
        "document.dispatchEvent(new Event('visibilitychange'))"
    )
    page.wait_for_selector("[data-phase=void]")
    assert re.search("void.*hidden", page.inner_text("[data-told]"))


def test_quiet_sounds_nothing_and_goes_on(car: str, page: Page) -> None:
    open_coach(page, car)
    page.get_by_label("Quiet").check()
    page.get_by_role("button", name="Start").click()
    until(page, "Number(document.querySelector('[data-part=digits]').innerText) <= 5")
    assert page.evaluate("coachSound.clock.context === null && coachSound.sound.log.length === 0")
    assert phase(page) == "running"
    page.evaluate("document.documentElement.dataset.light = 'garage'")
    keep(page, "page-coach-garage")


def test_taps_wait_for_a_server_that_does_not_answer(car: str, page: Page) -> None:
    open_coach(page, car)
    page.route("**/attempt", lambda route: route.abort())
    page.get_by_role("button", name="Start").click()
    page.wait_for_selector("[data-phase=running]")
    page.keyboard.press("Escape")
    page.wait_for_selector("[data-unsent]:not([hidden])")
    page.unroute("**/attempt")
    page.wait_for_selector("[data-see]:not([hidden])")
