"""The ten-minute job end to end on the practice car, by taps alone, in a real browser on a phone.

Runs with ``HYPOTHESIS_PROFILE=soak`` only: two guided captures and a coached attempt go by the
clock of the car, which takes about five minutes.
"""

import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page

from bellmouth.book.book import Book
from tests.pages.photograph import browser as chromium
from tests.pages.site.other_processes import Server
from tests.pages.site.served import patient

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
    pytest.mark.skipif(os.environ.get("HYPOTHESIS_PROFILE") != "soak", reason="soak only"),
]

FAULT, SEED = "deposit", "11"
CLEANED, PROCEDURE = "clean plate and bore", "Idle air learning by pedal pattern"
CAR = f"Practice car {SEED}"
#: The page's controls by what it tells the foot to do. Speeds that it offers no control for are
#: left, as whoever cannot hold them would.
FOOT = {
    "Let it idle": "Idle",
    "Hold 1,500 rpm": "Hold 1500 rpm",
    "Hold 2,500 rpm": "Hold 2500 rpm",
    "let it idle once more": "Idle",
}
#: What the book holds afterwards, in this order.
KINDS = ["car", "job", "job", "recording", "finding", "card", "work", "attempt", "recording",
         "proof"]  # fmt: skip
#: How long a foot is down, and up again, where five presses are to go in 5 s. [ms]
PRESS_MS = 350
#: A capture ends when more would tell no more; one that never does must not hang. [s]
AT_MOST_S = 900.0


class Person:
    """Somebody who does the job with one finger; every tap, choice and word typed is counted."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.began_s = page, 0, time.monotonic()

    def tap(self, what: Locator) -> None:
        """Tap on something that is there to be seen."""
        self.taps += 1
        what.click()

    def press(self, what: Locator) -> None:
        """Put the finger on something and leave it there."""
        self.taps += 1
        what.hover()
        self.page.mouse.down()

    def button(self, name: str) -> None:
        """Tap a button by what it says."""
        self.tap(self.page.get_by_role("button", name=name).first)

    def link(self, name: str) -> None:
        """Tap a link by what it says."""
        self.tap(self.page.get_by_role("link", name=name).first)

    def choose(self, label: str, value: str) -> None:
        """Choose from a list."""
        self.taps += 1
        self.page.get_by_label(label, exact=True).select_option(value)

    def fill(self, label: str, text: str) -> None:
        """Type into a field."""
        self.taps += 1
        self.page.get_by_label(label).fill(text)

    def comes(self, path: str) -> None:
        """The page of this path comes."""
        self.page.wait_for_url(f"**/{path}")
        self.tell(self.page.inner_text("h1"))

    def tell(self, what: str) -> None:
        """What it has taken so far; for whoever runs this with -s."""
        print(f"{time.monotonic() - self.began_s:4.0f} s, {self.taps:2} taps: {what}")


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with Server(tmp_path) as found:
        yield found


def take_the_car(person: Person) -> None:
    """A practice car with a deposit, and what its odometer says."""
    page = person.page
    person.tap(page.get_by_text("Choose what is wrong with it"))
    person.choose("Cause", FAULT)
    person.fill("Which car (a number)", SEED)
    person.button("Take this one")
    person.comes("record")
    assert CAR in page.inner_text("body")
    person.link("what is known of it")
    person.comes("facts")
    person.fill("Distance [km], if known", "84000")
    person.button("Correct the job")
    page.wait_for_load_state()
    assert page.get_by_label("Distance [km], if known").input_value() == "84000"
    person.link("1 Record")
    person.comes("record")


def capture(person: Person, leads_to: str) -> None:
    """Guided to its end: the foot does what the page says, when it says so."""
    page = person.page
    person.button("Start recording")
    page.wait_for_selector("[data-states]")
    end, last = time.monotonic() + AT_MOST_S, ""
    followed: set[str] = set()
    while page.inner_text("[data-tell=phase]") != "Recorded":
        doing = page.inner_text("[data-tell=doing]")
        wanted = [name for words, name in FOOT.items() if words in doing]
        if doing != last and wanted:
            person.button(wanted[0])
            followed.add(wanted[0])
        if doing != last:
            person.tell(doing)
        last = doing
        assert time.monotonic() < end, doing
        page.wait_for_timeout(200)
    assert followed == set(FOOT.values()), "the page asked for idle and both speeds"
    assert page.locator(".uplot canvas").count() >= 2
    person.button("End and judge")
    person.comes(leads_to)


def read_the_finding(person: Person) -> None:
    """The fault is named first, with a size and a check to do."""
    page = person.page
    assert "deposit" in page.locator(".bars .name").first.inner_text()
    assert "deposit" in page.inner_text("h1")
    assert "deposit" in page.inner_text("section[aria-labelledby=sizes]")
    assert page.locator(".checks > li").count() > 0
    person.link("On to the work")
    person.comes("work")


def work(person: Person) -> None:
    """The card proposes the work; it is kept, and what was done is written down."""
    page = person.page
    proposed = page.get_by_role("group", name="Proposed from the finding")
    assert proposed.get_by_label(CLEANED).is_checked()
    assert page.locator("section[aria-labelledby^=stage] li").count() > 3
    person.button("Keep the card in the book")
    person.comes("entry/6")
    assert page.inner_text("h1") == "Entry 6: card"
    person.link("3 Work")
    person.comes("work")
    done = page.get_by_role("group", name="What was really done")
    assert done.get_by_label(CLEANED).is_checked()
    person.button("It is done")
    person.comes("learning")


def called(person: Person, what: str) -> None:
    """Wait until the coach calls it: NOW."""
    page, end = person.page, time.monotonic() + AT_MOST_S
    while True:
        say, digits, phase = page.evaluate(
            "['say', 'digits'].map((one) => document.querySelector(`[data-part=${one}]`).innerText)"
            ".concat(document.querySelector('[data-coach]').dataset.phase)"
        )
        if what in say and digits == "NOW":
            person.tell(what)
            return
        assert phase == "running", (what, page.inner_text("main"))
        assert time.monotonic() < end, what
        page.wait_for_timeout(25)


def follow_the_coach(person: Person) -> None:
    """Key, pedal and starter of the practice car, each when the coach calls it."""
    page = person.page
    key, pedal = page.locator("[data-act=key]"), page.locator("[data-act=pedal]")
    called(person, "Key off")
    person.tap(key)
    called(person, "Key on")
    person.tap(key)
    called(person, "Press five times")
    for _ in range(5):
        person.press(pedal)
        page.wait_for_timeout(PRESS_MS)
        page.mouse.up()
        page.wait_for_timeout(PRESS_MS)
    called(person, "Press and hold")
    person.press(pedal)
    called(person, "Let go")
    page.mouse.up()
    called(person, "Start the engine")
    person.tap(page.locator("[data-act=start]"))


def learn(person: Person) -> None:
    """One procedure of the plan, coached, with the controls of the practice car."""
    page = person.page
    patient(page)
    planned = page.locator("section[aria-labelledby=plan]")
    person.tap(planned.get_by_role("link", name=PROCEDURE, exact=True))
    person.comes("idle-air-learning-by-pedal")
    person.button("Coach me through it")
    page.wait_for_selector("[data-ready=yes]")
    person.button("Start: 8 s count-in")
    page.wait_for_selector("[data-phase=running]")
    follow_the_coach(person)
    end = time.monotonic() + AT_MOST_S
    while not page.is_visible("[data-see]"):
        assert time.monotonic() < end, page.inner_text("main")
        page.wait_for_timeout(200)
    person.tap(page.locator("[data-see]"))
    person.comes("attempt/*")
    # A signal that a busy machine read too seldom cannot tell; what was done is never missed.
    told = page.inner_text("h1").removeprefix(f"{PROCEDURE}: ")
    assert told in {"met", "cannot tell"}, page.inner_text("main")
    steps = page.locator("section[aria-labelledby=steps] tbody tr").all_inner_texts()
    assert any("Let it idle\tmet" in one for one in steps), steps
    assert not any("\tmissed" in one for one in steps), steps
    assert page.locator("svg.attempt").count() == 1
    person.link("Back to the plan")
    person.comes("learning")
    assert told in page.inner_text("section[aria-labelledby=gone]")
    person.link("Record after the work")
    person.comes("record")


def read_the_proof(person: Person) -> None:
    """Better, or likeliest better and what it still takes to say so, by the work that was done."""
    page = person.page
    said = page.inner_text("h1")
    assert said.startswith(("Better:", "Cannot say yet: better is likeliest")), said
    assert said.startswith("Better:") or "What it still takes" in page.inner_text("main")
    assert CLEANED in page.inner_text("section[aria-labelledby=of]")
    person.link("The car's book")
    person.comes("book")


def read_the_book(person: Person) -> None:
    """Every entry in its order, and when to look at the plate again."""
    page = person.page
    entries = page.locator("section[aria-labelledby=entries] li").all_inner_texts()
    for kind, told in zip(KINDS, entries, strict=True):
        assert f": {kind}" in told, entries
    assert page.locator("section[aria-labelledby=course] figure").count() == 1
    when = page.inner_text("section[aria-labelledby=when]")
    assert "Inspect the throttle plate at about" in when
    assert "nine in ten" in when


def test_the_whole_job_goes_by_taps_alone(server: Server, page: Page) -> None:
    page.goto(server.address)
    person = Person(page)
    take_the_car(person)
    capture(person, "finding")
    read_the_finding(person)
    work(person)
    learn(person)
    capture(person, "proof")
    read_the_proof(person)
    read_the_book(person)
    person.tell("the whole job")
    kept = Book(server.folder).history(CAR).entries
    assert [one.kind for one in kept] == KINDS
