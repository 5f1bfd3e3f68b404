"""The page served for a real browser: uvicorn in a thread, on loopback, on a book of its own."""

import os
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import uvicorn
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Error
from starlette.responses import Response

from bellmouth.book.book import Book
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page, Route, ViewportSize

__all__ = [
    "CHROMIUM",
    "DESK",
    "PATIENCE_MS",
    "PHONE",
    "PICTURES",
    "back",
    "keep",
    "patient",
    "served",
    "unfold",
    "until",
    "violations",
]

PHONE: "ViewportSize" = {"width": 390, "height": 844}
DESK: "ViewportSize" = {"width": 1280, "height": 800}
#: No network stands behind the page, but a loaded machine takes its time. [ms]
PATIENCE_MS = 60_000

CHROMIUM = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
PICTURES = Path(__file__).parents[3] / "docs" / "pictures"

#: Tells when sound begins, on the audio clock, from the samples themselves.
ONSETS = """
class Onsets extends AudioWorkletProcessor {
  constructor() { super(); this.still = 1; this.silent = 0; }
  process([input]) {
    const heard = input[0];
    if (!heard) { this.silent += 128 / sampleRate; return true; }
    for (let i = 0; i < heard.length; i += 1) {
      if (Math.abs(heard[i]) > 1e-3) {
        if (this.silent > 0.015) this.port.postMessage(currentTime + i / sampleRate);
        this.silent = 0;
      } else this.silent += 1 / sampleRate;
    }
    return true;
  }
}
registerProcessor("onsets", Onsets);
"""


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Its address, for as long as it is entered."""
    listening = uvicorn.Config("", host="127.0.0.1", port=0).bind_socket()
    port = listening.getsockname()[1]
    garage = Garage(Book(folder / "book"), folder / "captures")
    app = create_app(garage, Settings(frozenset({f"127.0.0.1:{port}"})))
    app.add_api_route("/onsets.js", lambda: Response(ONSETS, media_type="text/javascript"))
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=1)
    )  # fmt: skip
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        until = time.monotonic() + 60.0
        while not server.started and time.monotonic() < until:
            time.sleep(0.02)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(timeout=60.0)
        listening.close()


def keep(page: "Page", name: str) -> None:
    """A picture for the documentation: made where it is missing, or is asked for."""
    path = PICTURES / f"{name}.png"
    if os.environ.get("BELLMOUTH_PICTURES") or not path.exists():
        page.screenshot(path=path)


def until(page: "Page", true: str) -> None:
    """Wait until an expression is true; the page's own policy forbids to leave that to it."""
    end = time.monotonic() + PATIENCE_MS / 1000.0
    while not page.evaluate(f"Boolean({true})"):
        if time.monotonic() > end:
            raise TimeoutError(true)
        page.wait_for_timeout(25)


def back(page: "Page", attempts: int = 20) -> None:
    """The back button. While the browser changes from one page to the next it takes no order."""
    page.wait_for_load_state("load")
    for left in reversed(range(attempts)):
        try:
            page.go_back()
        except Error as error:
            if "Not attached to an active page" not in str(error) or not left:
                raise
            page.wait_for_timeout(250)
        else:
            return


def patient(page: "Page") -> None:
    """Let the coach bear a device that stands still or sounds late, and show its NOW for longer.

    It rightly calls such an attempt void, and takes back a NOW that is no longer one; a test that
    is about something else must not end so where the machine is busy, nor overlook what it shows.
    """

    def loosened(limits: Mapping[str, str]) -> Callable[["Route"], None]:
        def serve(route: "Route") -> None:
            answer = route.fetch()
            text = answer.text()
            for limit, loose in limits.items():
                assert limit in text
                text = text.replace(limit, loose)
            route.fulfill(response=answer, body=text)

        return serve

    clock = {"AWAY_S = 1.5;": "AWAY_S = 120;", "JUMP_S = 0.3;": "JUMP_S = 120;"}
    page.route("**/coach/clock.js*", loosened(clock))
    page.route("**/coach/face.js*", loosened({"SHOWN_S = 0.45;": "SHOWN_S = 2.5;"}))
    live = {"OLD_S = 1;": "OLD_S = 5;", "SILENT_S = 3;": "SILENT_S = 120;"}
    page.route("**/coach/live.js*", loosened(live))


def unfold(summary: "Locator", attempts: int = 20) -> None:
    """Open what folds. A picture that comes above it may move it from under a finger half-way."""
    for _ in range(attempts):
        summary.click()
        if summary.evaluate("(one) => one.parentElement.open"):
            return
    raise AssertionError("it does not unfold")


def violations(page: "Page", options: dict[str, Any] | None = None) -> list[dict[str, Any]]:
    """What axe objects to on a page."""
    found = Axe().run(page, options=options).response["violations"]
    return [dict(one) for one in found]
