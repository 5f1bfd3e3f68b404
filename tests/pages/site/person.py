"""Somebody who does a whole job on the page with one finger, and stops to look."""

import os
import time
from collections.abc import Callable, Collection
from pathlib import Path

from playwright.sync_api import Locator, Page

__all__ = [
    "AT_MOST_S",
    "Over",
    "Person",
    "begins",
    "called",
    "capture",
    "closed_position",
    "idle_air",
    "record_for",
]

#: Something that never comes must not hang. [s]
AT_MOST_S = 900.0
#: How long a foot is down, and up again, where five presses are to go in 5 s. [ms]
_PRESS_MS = 300
_LOOK_MS = 25


class Over(Exception):  # noqa: N818 - no error of the page's
    """The attempt ended before it was done; a person begins it again."""


class Person:
    """Every tap, choice and word typed is counted; no address is ever typed."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.began_s = page, 0, time.monotonic()

    def tap(self, what: Locator) -> None:
        """Tap on something that is there to be seen."""
        self.taps += 1
        what.click()

    def press(self, what: Locator) -> None:
        """Put the finger on something and leave it there."""
        self.taps += 1
        box = what.bounding_box()
        assert box is not None, "nothing there to be pressed"
        # At once: a look whether it stands still takes longer than a cue gives on a busy machine.
        self.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        self.page.mouse.down()

    def strike(self, what: Locator) -> None:
        """Tap on what the finger is at already, with no time to lose."""
        self.press(what)
        self.page.mouse.up()

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
        self.page.wait_for_load_state()
        said = self.page.inner_text("h1")
        assert said != "That did not work", self.page.inner_text("main")
        self.tell(said)

    def looks(self, name: str) -> None:
        """What is on the screen, into the folder ``BELLMOUTH_LOOKS`` where there is one."""
        if folder := os.environ.get("BELLMOUTH_LOOKS"):
            self.page.screenshot(path=Path(folder) / f"{name}.png")

    def tell(self, what: str) -> None:
        """What it has taken so far; for whoever runs this with -s."""
        print(f"{time.monotonic() - self.began_s:4.0f} s, {self.taps:2} taps: {what}")

    def wait(self, come: Callable[[], bool], what: str, every_ms: int = 200) -> None:
        """Look again and again until something has come."""
        end = time.monotonic() + AT_MOST_S
        while not come():
            assert time.monotonic() < end, (what, self.page.inner_text("main"))
            self.page.wait_for_timeout(every_ms)


def capture(person: Person, foot: dict[str, str], leads_to: str) -> Collection[str]:
    """Guided to its end: the foot does what the page says, when it says so; gives what it did."""
    page = person.page
    person.button("Start recording")
    page.wait_for_selector("[data-states]")
    followed: set[str] = set()
    last = ""

    def over() -> bool:
        nonlocal last
        doing = page.inner_text("[data-tell=doing]")
        wanted = [name for words, name in foot.items() if words in doing]
        if doing != last:
            person.tell(doing)
            if wanted:
                person.button(wanted[0])
                followed.add(wanted[0])
        last = doing
        return page.inner_text("[data-tell=phase]") == "Recorded"

    person.wait(over, "the capture's end")
    _end(person, leads_to)
    return followed


def record_for(person: Person, seconds: int, leads_to: str) -> None:
    """So many seconds without guidance; the mechanic in the car starts it and lets it idle."""
    page = person.page
    person.tap(page.get_by_text("For so long, or another controller"))
    person.fill("Record for so many seconds", str(seconds))
    person.button("Start recording")
    page.wait_for_selector("[data-states]")
    person.wait(lambda: page.inner_text("[data-tell=phase]") == "Recorded", "the capture's end")
    _end(person, leads_to)


def _end(person: Person, leads_to: str) -> None:
    assert person.page.locator(".uplot canvas").count() >= 2
    person.button("End and judge")
    person.comes(leads_to)


#: What the coach calls is noted as it is shown, so that no call is overlooked between two looks.
_NOTED = """() => {
  const part = (name) => document.querySelector(`[data-part=${name}]`);
  window.calls = [];
  new MutationObserver(() => {
    if (part("digits").textContent === "NOW") window.calls.push(part("say").textContent);
  }).observe(document.querySelector(".run"), { subtree: true, childList: true });
}"""


def begins(person: Person) -> None:
    """The count-in of an attempt at whose page the person is."""
    page = person.page
    page.wait_for_selector("[data-ready=yes]")
    page.evaluate(_NOTED)
    person.button("Start: 8 s count-in")
    page.wait_for_selector("[data-phase=running]")


def called(person: Person, what: str) -> None:
    """Wait until the coach calls it: NOW.

    Raises
    ------
    Over
        If the attempt has ended before, void or lost, as where the machine was too busy.
    """
    page = person.page

    _comes(person, f"window.calls.some((one) => one.includes('{what}'))")
    page.evaluate("window.calls.length = 0")
    person.tell(what)


def _comes(person: Person, true: str, phases: Collection[str] = ("running",)) -> None:
    """Wait until an expression is true, while the attempt is in one of these phases."""
    page = person.page

    def come() -> bool:
        phase, found = page.evaluate(
            f"[document.querySelector('[data-coach]').dataset.phase, Boolean({true})]"
        )
        if not found and phase not in phases:
            raise Over(page.inner_text("[data-told]"))
        return bool(found)

    person.wait(come, true, _LOOK_MS)


def idle_air(person: Person) -> None:
    """Key, pedal and starter of the practice car, each when the coach calls it."""
    page = person.page
    key, pedal = page.locator("[data-act=key]"), page.locator("[data-act=pedal]")
    called(person, "Key off")
    person.strike(key)
    called(person, "Key on")
    person.strike(key)
    called(person, "Press five times")
    person.press(pedal)
    for _ in range(4):
        page.wait_for_timeout(_PRESS_MS)
        page.mouse.up()
        page.wait_for_timeout(_PRESS_MS)
        person.taps += 1
        page.mouse.down()  # the finger stays where it is
    page.wait_for_timeout(_PRESS_MS)
    page.mouse.up()
    called(person, "Press and hold")
    person.press(pedal)
    called(person, "Let go")
    page.mouse.up()
    called(person, "Start the engine")
    person.strike(page.locator("[data-act=start]"))


def closed_position(person: Person, *, hears: bool = True) -> None:
    """The key on and off when it is called, and a tap when the plate is heard; or too soon."""
    page = person.page
    key, zone = page.locator("[data-act=key]"), page.locator("[data-zone]")
    called(person, "Key on")
    person.strike(key)
    called(person, "Key off")
    person.strike(key)
    _comes(person, "document.querySelector('[data-part=means]').innerText.includes('plate')")
    if hears:
        _comes(person, "document.querySelector('[data-seat]').innerText.includes('whirrs')")
        person.looks("job-6-coach")
    above = "bottom => bottom <= document.querySelector('[data-stop]').getBoundingClientRect().top"
    for one in (key, zone):
        bottom = one.evaluate("(one) => one.getBoundingClientRect().bottom")
        assert page.evaluate(above, bottom), "never under the big stop"
    person.tap(zone)
    if hears:
        # The key comes on once more, so that it is on record how long it was off.
        _comes(person, "document.querySelector('[data-coach][data-after]')", ("running", "done"))
        person.tap(key)
