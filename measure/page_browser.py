"""What a real browser makes of the page, on a processor slowed down as asked.

Everything is measured from inside: the browser's own navigation start, its own clock for when a
picture was drawn, and the bytes that its network stack says came in. Clocks of browser and server
are the same machine's; what was drawn counts from the beginning of the frame after, so that what
is told is late by up to one frame (17 ms) rather than early. The time on a real screen's own
electronics is not in it.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from measure.page_served import Served
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import CHROMIUM, PHONE, until

__all__ = ["SLOWER", "First", "Picture", "chrome", "first_page", "picture", "slow_tab"]

SLOWER = 4
_PATIENCE_MS = 120_000

#: A click on a control that answers, as soon as the page's script has taken hold of it: every
#: task of the page's own that is still to run delays it.
_PROBE = """
(() => {
  const seen = {};
  window.probe = seen;
  new PerformanceObserver((list) => {
    for (const one of list.getEntries()) seen.paint = Math.max(seen.paint || 0, one.startTime);
  }).observe({ type: "largest-contentful-paint", buffered: true });
  seen.long = 0;
  new PerformanceObserver((list) => {
    seen.long += list.getEntries().length;
    for (const one of list.getEntries()) seen.quiet = one.startTime + one.duration;
  }).observe({ type: "longtask", buffered: true });
  seen.shift = 0;
  new PerformanceObserver((list) => {
    for (const one of list.getEntries()) seen.shift += one.value;
  }).observe({ type: "layout-shift", buffered: true });
  const ask = () => {
    document.querySelector("[data-set-light=sun]").click();
    if (document.documentElement.dataset.light !== "sun") { setTimeout(ask, 10); return; }
    requestAnimationFrame(() => setTimeout(() => { seen.answered = performance.now(); }));
  };
  document.addEventListener("DOMContentLoaded", () => setTimeout(ask));
})();
"""

#: Notes, for every sample of engine speed that a chart takes, when the frame after it begins: what
#: was drawn has then been handed to the screen.
_DRAWN = """
(() => {
  const told = { frames: [], drawn: [] };
  window.drawn = told;
  let newest = -1;
  let Plot;
  const watch = (plot) => {
    const plain = plot.setData;
    plot.setData = (data, ...more) => {
      const times = data[0];
      if (data.length === 2 && plot.series[1].label.includes("rpm") && times.length) {
        const fresh = times.filter((at) => at > newest);
        newest = times.at(-1);
        told.frames.push(performance.now());
        requestAnimationFrame(() => {
          const atMs = performance.timeOrigin + performance.now();
          for (const at of fresh) told.drawn.push([at, atMs]);
        });
      }
      return plain(data, ...more);
    };
    return plot;
  };
  Object.defineProperty(window, "uPlot", {
    get: () => Plot,
    set: (plain) => {
      Plot = new Proxy(plain, { construct: (made, given) => watch(new made(...given)) });
    },
  });
})();
"""
_TAKEN = "({ frames: drawn.frames.splice(0), drawn: drawn.drawn.splice(0) })"


@dataclass(frozen=True)
class First:
    """The first page, from the start of the navigation with an empty cache. [ms], [byte]

    ``interactive_ms`` is when a click on a control had been answered by the next frame and no
    long task was left; ``shift`` the sum of layout shifts.
    """

    dom_ms: float
    paint_ms: float
    interactive_ms: float
    long_tasks: int
    shift: float
    bytes: int
    requests: int


@dataclass(frozen=True)
class Picture:
    """The live picture: frames a second, and how late each sample was drawn. [1/s], [ms]

    ``slowest_ms`` is between frames, 95 of 100; ``cpu_ms`` what the page used of a processor for
    each, whatever else the machine did.
    """

    frames_per_s: float
    slowest_ms: float
    late_ms: np.ndarray[tuple[int], np.dtype[np.float64]]
    parameters: int
    bytes_per_s: float
    cpu_ms: float


@contextmanager
def chrome() -> Iterator[Browser]:
    """Debian's Chromium."""
    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=chromium(), args=CHROMIUM)
        yield found
        found.close()


@contextmanager
def slow_tab(
    program: Browser, script: str, slower: float = SLOWER
) -> Iterator[tuple[Page, CDPSession]]:
    """A fresh tab with nothing kept, on a processor so many times slower, and its protocol."""
    context = program.new_context(viewport=PHONE, service_workers="block")
    context.set_default_timeout(_PATIENCE_MS)
    page = context.new_page()
    page.add_init_script(script)
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    yield page, session
    context.close()


def _renderers_s(program: Browser) -> float:
    """What the browser's pages have used of a processor so far. [s]"""
    session = program.new_browser_cdp_session()
    told = session.send("SystemInfo.getProcessInfo")["processInfo"]
    session.detach()
    return float(sum(one["cpuTime"] for one in told if one["type"] == "renderer"))


def first_page(program: Browser, address: str) -> First:
    """Open a page with an empty cache."""
    with slow_tab(program, _PROBE) as (page, session):
        sizes: list[int] = []
        session.on("Network.loadingFinished", lambda one: sizes.append(one["encodedDataLength"]))
        page.goto(address, wait_until="networkidle")
        until(page, "window.probe.answered")
        told: dict[str, Any] = page.evaluate(
            "({ ...probe, dom: performance.getEntriesByType('navigation')[0].domInteractive })"
        )
    return First(
        told["dom"], told.get("paint", float("nan")),
        max(told["answered"], told.get("quiet", 0.0)),
        told["long"], told["shift"], sum(sizes), len(sizes),
    )  # fmt: skip


def picture(program: Browser, served: Served, car: str, seconds: float, slower: float) -> Picture:
    """Look on at a capture that is under way. [s]"""
    with slow_tab(program, _DRAWN, slower) as (page, session):
        received: list[int] = []
        session.on("Network.dataReceived", lambda one: received.append(one["dataLength"]))
        page.goto(f"{served.address}{car}/record")
        page.get_by_text("The same as numbers").click()
        page.wait_for_timeout(5000)
        page.evaluate(_TAKEN)
        received.clear()
        began, used = time.monotonic(), _renderers_s(program)
        page.wait_for_timeout(1000 * seconds)
        took, used = time.monotonic() - began, _renderers_s(program) - used
        told: dict[str, Any] = page.evaluate(_TAKEN)
        parameters = page.locator("[data-numbers] tr").count()
    epoch_ms = 1000.0 * served.epoch_s()
    frames = np.array(told["frames"])
    late = np.array([at_ms - epoch_ms - 1000.0 * at_s for at_s, at_ms in told["drawn"]])
    gaps = np.diff(frames)
    return Picture(
        1000.0 * gaps.size / float(frames[-1] - frames[0]), float(np.percentile(gaps, 95)),
        late, parameters, sum(received) / took, 1000.0 * used / max(frames.size, 1),
    )  # fmt: skip
