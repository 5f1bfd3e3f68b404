"""The live picture in a real browser: 30 parameters, and connections that break."""

import asyncio
import threading
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx2
import pytest
import uvicorn
from playwright.sync_api import Page

from bellmouth.book.book import Book
from bellmouth.bus.guide import Advice, course
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from bellmouth.pages.site.live import State, told
from bellmouth.pages.site.traces import Traces
from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import unfold, until

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

NAMES = [
    "engine_speed", "mass_air_flow", "intake_manifold_pressure", "short_term_fuel_trim_bank_1",
    "long_term_fuel_trim_bank_1", "throttle_position",
    *(f"oxygen_sensor_voltage_bank_{b}_sensor_{s}" for b in (1, 2) for s in (1, 2, 3, 4)),
    "calculated_load", "ignition_timing_advance", "absolute_load", "vehicle_speed",
    "accelerator_pedal_position_d", "boost_pressure", "commanded_evaporative_purge",
    "commanded_equivalence_ratio", "relative_throttle_position", "engine_fuel_rate",
    "commanded_throttle_actuator", "engine_coolant_temperature", "control_module_voltage",
    "intake_air_temperature", "barometric_pressure", "ambient_air_temperature",
]  # fmt: skip

#: Notes every sample that comes, by time and parameter.
HEARD = """
window.heard = [];
const Plain = window.EventSource;
window.EventSource = class extends Plain {
  constructor(...given) {
    super(...given);
    this.addEventListener("rows", (event) => {
      for (const [at, values] of JSON.parse(event.data))
        for (const name of Object.keys(values)) window.heard.push(`${at} ${name}`);
    });
    this.addEventListener("anew", () => { window.anew = (window.anew || 0) + 1; });
  }
};
"""


class Watched:
    """A page on a capture that the test itself feeds, and whose connections it can break."""

    def __init__(self, folder: Path) -> None:
        self.listening = uvicorn.Config("", host="127.0.0.1", port=0).bind_socket()
        port = self.listening.getsockname()[1]
        self.address = f"http://127.0.0.1:{port}"
        self.garage = Garage(Book(folder / "book"), folder / "captures")
        app = create_app(self.garage, Settings(frozenset({f"127.0.0.1:{port}"})))
        self.server = uvicorn.Server(
            uvicorn.Config(app, log_level="critical", timeout_graceful_shutdown=1)
        )
        self.loop: asyncio.AbstractEventLoop | None = None
        self.thread = threading.Thread(target=self._run)
        self.thread.start()
        self.fed: list[str] = []
        self.traces = Traces()
        self.car = ""

    def _run(self) -> None:
        async def serve() -> None:
            self.loop = asyncio.get_running_loop()
            await self.server.serve(sockets=[self.listening])

        asyncio.run(serve())

    def begin(self, name: str, log_bytes: int = 1 << 20) -> str:
        """A car that is being recorded; its page."""
        while not self.server.started:
            time.sleep(0.02)
        data = {"name": name, "displacement_l": "2.0", "metering": "airflow"}
        said = httpx2.post(f"{self.address}/cars", data=data, headers={"origin": self.address})
        where = said.headers["location"]
        self.traces = Traces(log_bytes=log_bytes)
        self.fed = []
        live: Any = SimpleNamespace(
            traces=self.traces, state=State(1, "running"), path=Path("x"), close=lambda: None,
            ending=threading.Lock(),
        )  # fmt: skip
        self.garage.captures[where.split("/")[2]] = live
        self.tell()
        return f"{self.address}{where}"

    def tell(self) -> None:
        """How the capture stands, as it says by itself every now and then."""
        self.traces.tell({"number": 1, "phase": "running", "seconds": 0, "samples": 0, "notes": []})

    def feed(self, rows: int, first: int = 0) -> None:
        """Readings of 30 parameters, six at a time, at 100 a second."""
        for number in range(first, first + rows):
            at_s = 0.01 * number
            names = [NAMES[(6 * number + one) % len(NAMES)] for one in range(6)]
            self.traces.heard(at_s, dict.fromkeys(names, 700.0 + number % 50))
            self.fed += [f"{at_s:g} {name}" for name in names]
            time.sleep(0.01)

    def break_all(self) -> None:
        """Every connection breaks, as when the telephone leaves the garage."""
        loop = self.loop
        assert loop is not None

        def cut() -> None:
            for one in list(self.server.server_state.connections):
                one.transport.abort()

        loop.call_soon_threadsafe(cut)

    def close(self) -> None:
        self.garage.captures.clear()
        self.server.should_exit = True
        self.thread.join(timeout=60.0)
        self.listening.close()


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[Watched]:
    found = Watched(tmp_path)
    yield found
    found.close()


def test_thirty_parameters_are_drawn_and_told_as_they_come(watched: Watched, page: Page) -> None:
    assert len(set(NAMES)) == 30
    page.add_init_script(HEARD)
    page.goto(watched.begin("Thirty"))
    unfold(page.get_by_text("The same as numbers"))
    watched.feed(200)
    until(page, f"heard.length === {len(watched.fed)}")
    assert page.evaluate("heard") == watched.fed
    until(page, "document.querySelectorAll('[data-numbers] tr').length === 30")
    assert page.locator(".uplot canvas").count() == 4
    assert int(page.get_attribute("[data-states]", "data-frames") or 0) >= 5
    until(page, "document.querySelector('[data-tell=speed]').innerText === '745'")


def test_after_a_broken_connection_every_sample_has_come_once(watched: Watched, page: Page) -> None:
    page.add_init_script(HEARD)
    page.goto(watched.begin("Broken"))
    for part in range(3):
        watched.feed(60, first=60 * part)
        watched.break_all()
        watched.feed(20, first=60 * part + 60) if part == 2 else None
    until(page, f"heard.length >= {len(watched.fed)}")
    assert page.evaluate("heard") == watched.fed
    assert page.evaluate("window.anew") is None
    until(page, "document.querySelector('[data-lost]').hidden")


def test_who_was_away_for_too_long_is_told_and_sees_the_recent_past(
    watched: Watched, page: Page
) -> None:
    page.add_init_script(HEARD)
    where = watched.begin("Away", log_bytes=3000)
    page.goto(where)
    watched.feed(10)
    until(page, f"heard.length >= {len(watched.fed)}")
    # Nobody is let in for a while.
    key = where.split("/")[-2]
    live = watched.garage.captures.pop(key)
    page.evaluate("window.heard.length = 0")
    page.route("**/record/states*", lambda route: route.abort())
    watched.break_all()
    watched.feed(150, first=10)
    # What nobody looks at waits as one frame, so without this nothing would be missed, unless the
    # server began another frame before it noticed that the connection was gone.
    watched.tell()
    watched.feed(10, first=160)
    watched.garage.captures[key] = live
    page.unroute("**/record/states*")
    until(page, "window.anew === 1")
    until(page, "document.querySelector('[data-tell=missed]').innerText !== ''")
    assert "begins anew" in page.inner_text("[data-tell=missed]")
    until(page, f"heard.length >= {len(watched.fed)}")
    assert page.evaluate("heard") == watched.fed


def test_an_end_is_shown_after_the_last_sample(watched: Watched, page: Page) -> None:
    page.add_init_script(HEARD)
    page.goto(watched.begin("Ended"))
    watched.feed(7)
    ended = {"number": 2, "phase": "ended", "seconds": 1, "samples": 42, "notes": []}
    watched.traces.tell(ended, over=True)
    until(page, "document.querySelector('[data-tell=phase]').innerText === 'Recorded'")
    assert page.evaluate("heard") == watched.fed


def test_what_another_page_ended_goes_on_here_by_itself(watched: Watched, page: Page) -> None:
    page.goto(watched.begin("Two phones"))
    key = page.url.split("/")[4]
    watched.feed(7)
    ended = {"number": 2, "phase": "ended", "seconds": 1, "samples": 42, "notes": []}
    watched.traces.tell(ended, over=True)
    until(page, "document.querySelector('[data-tell=doing]').innerText.startsWith('End and judge')")
    path = watched.garage.folder / "taken.csv"
    write_csv(healthy(path.name), path)
    watched.garage.add_recording(watched.garage.visit(key), path)
    del watched.garage.captures[key]
    until(
        page, "(document.querySelector('[data-tell=doing]') || {}).innerText?.includes('another')"
    )
    page.wait_for_url("**/finding")


#: Metric value, and how the page writes it with its unit: by parameter, language and units. Factors
#: by definition: 1 lb is 453.59237 g, 1 inHg 3.386389 kPa (NIST SP 811, from memory).
FIGURES = {
    "mass_air_flow": (7.5, {
        ("en", "metric"): ("7.50", "g/s"), ("de", "metric"): ("7,50", "g/s"),
        ("en", "us"): ("0.992", "lb/min"), ("de", "us"): ("0,992", "lb/min"),
    }),
    "intake_manifold_pressure": (101.325, {
        ("en", "metric"): ("101.33", "kPa"), ("de", "metric"): ("101,33", "kPa"),
        ("en", "us"): ("29.921", "inHg"), ("de", "us"): ("29,921", "inHg"),
    }),
    "engine_coolant_temperature": (91.0, {
        ("en", "metric"): ("91.00", "°C"), ("de", "metric"): ("91,00", "°C"),
        ("en", "us"): ("195.80", "°F"), ("de", "us"): ("195,80", "°F"),
    }),
    "engine_speed": (2345.0, {
        ("en", "metric"): ("2345.00", "rpm"), ("de", "metric"): ("2345,00", "1/min"),
        ("en", "us"): ("2345.00", "rpm"), ("de", "us"): ("2345,00", "1/min"),
    }),
}  # fmt: skip
#: Phase, what to do, steadiness, step, airflow's name.
TOLD = {
    "en": ("Recording", "Start the engine and let it warm up, loads off, foot off the pedal.",
           "■ steady", "Step 2 of 5", "mass air flow"),
    "de": ("Zeichnet auf", "Motor starten und warm laufen lassen, Verbraucher aus, Fuß vom Pedal.",
           "■ ruhig", "Schritt 2 von 5", "Luftstrom nach LMM"),
}  # fmt: skip
HINTS = {
    ("en", "metric"): "coolant 40 °C (70 °C is enough)",
    ("en", "us"): "coolant 104 °F (158 °F is enough)",
    ("de", "metric"): "Kühlmittel 40 °C (70 °C genügen)",
    ("de", "us"): "Kühlmittel 104 °F (158 °F genügen)",
}


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_words_units_and_figures_are_the_readers_own(
    watched: Watched, page: Page, language: str, units: str
) -> None:
    where = watched.begin("Read")
    page.goto(where)
    page.select_option("#language", language)
    page.select_option("#units", units)
    with page.expect_navigation():
        page.locator(".settings button").click()
    page.wait_for_selector(f"html[lang={language}] [data-speak='{language}/{units}']")
    watched.traces.heard(0.1, {name: value for name, (value, _) in FIGURES.items()})
    advice = Advice(
        course()[1], 2, 5, "coolant 40 degC (70 degC is enough)", 0.5, steady=True, bits=1.0
    )
    watched.traces.tell(told(State(2, "running", 12.0, 4, advice=asdict(advice))))
    unfold(page.locator("details summary"))
    until(page, f"document.querySelectorAll('[data-numbers] tr').length === {len(FIGURES)}")
    until(page, "document.querySelector('[data-tell=steady]').innerText !== ''")
    said = [page.inner_text(f"[data-tell={one}]") for one in ("phase", "doing", "steady", "step")]
    cells = [row.split("\t") for row in page.locator("[data-numbers] tr").all_inner_texts()]
    assert [*said, cells[-1][0]] == list(TOLD[language])
    shown = [written[language, units] for _, (_, written) in sorted(FIGURES.items())]
    assert [(*row[1:4], row[4]) for row in cells] == [(*3 * (one,), unit) for one, unit in shown]
    assert page.inner_text("[data-tell=hint]") == HINTS[language, units]
    airflow = FIGURES["mass_air_flow"][1][language, units][1]
    assert any(f"[{airflow}]" in one for one in page.locator(".u-legend").all_inner_texts())
