"""What a page-quality audit looks for and can be told offline, on every page: what it says of
itself, what fingers can hit, that nothing jumps, fails or comes from outside, that it installs.
"""

import io
from pathlib import Path
from typing import Any

import httpx2
import pytest
from PIL import Image
from playwright.sync_api import Browser, ConsoleMessage, Page, expect

from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.photograph import browser as chromium
from tests.pages.site.served import DESK, PATIENCE_MS, PHONE

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chromium() is None, reason="no Chromium on this machine"),
]

LESSON = "learning/pedal-released-position"
INSIDE = ("record", "finding", "work", "learning", LESSON, f"{LESSON}/coach", "proof", "book")

#: More elements than this make a slow telephone slower; a common audit warns from about here on,
#: from memory.
MOST_NODES = 1400
GUARDS = (
    "content-security-policy", "x-content-type-options", "referrer-policy", "permissions-policy",
    "cross-origin-opener-policy",
)  # fmt: skip

SHIFTS = """
window.shifted = 0;
new PerformanceObserver((list) => {
  for (const one of list.getEntries()) if (!one.hadRecentInput) window.shifted += one.value;
}).observe({ type: "layout-shift", buffered: true });
"""

#: Everything that can be hit and is smaller than 24 px, unless it stands in a sentence or keeps
#: its distance: WCAG 2.2, 2.5.8, from memory.
SMALL = """
(() => {
  const hit = [...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
    .map((one) => ({ one, box: (one.labels && one.labels.length === 1 && one.labels[0].contains(one)
      ? one.labels[0] : one).getBoundingClientRect() }))
    .filter(({ one, box }) => box.width > 0 && one.type !== "hidden" && !one.matches(".skip"));
  const inSentence = ({ one }) => one.matches("a") && getComputedStyle(one).display === "inline"
    && [...one.parentElement.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
  const small = hit.filter((it) => Math.min(it.box.width, it.box.height) < 24 && !inSentence(it));
  const middle = (box) => [box.x + box.width / 2, box.y + box.height / 2];
  return small.filter((it) => {
    const [x, y] = middle(it.box);
    return hit.some((other) => other !== it
      && Math.hypot(Math.max(other.box.left - x, 0, x - other.box.right),
                    Math.max(other.box.top - y, 0, y - other.box.bottom)) < 12);
  }).map(({ one }) => one.outerHTML.slice(0, 120));
})()
"""

#: What a job is done with: as large as a gloved finger, and not only as large as it must be.
SMALL_FOR_A_GLOVE = """
[...document.querySelectorAll("main button, main .button, main input, main select, main textarea")]
  .filter((one) => !one.closest(".lights, .keys, .quiet, [hidden], details:not([open])")
    && one.type !== "hidden" && one.type !== "checkbox" && one.getBoundingClientRect().width > 0
    && Math.min(one.getBoundingClientRect().width, one.getBoundingClientRect().height) < 44)
  .map((one) => one.outerHTML.slice(0, 120))
"""

ITSELF = """
({
  doctype: document.compatMode,
  charset: document.characterSet,
  language: document.documentElement.lang,
  title: document.title,
  viewport: document.querySelector("meta[name=viewport]")?.content || "",
  description: document.querySelector("meta[name=description]")?.content || "",
  manifest: document.querySelector("link[rel=manifest]")?.href || "",
  headings: document.querySelectorAll("h1").length,
  nowhere: [...document.links].filter((one) => one.protocol === "javascript:").length,
  unsized: [...document.images].filter((one) => !one.alt || !one.width).length,
  doubled: [...document.querySelectorAll("[id]")].filter(
    (one) => document.querySelectorAll(`#${CSS.escape(one.id)}`).length > 1).length,
  tiny: [...document.querySelectorAll("main *")].filter((one) => one.children.length === 0
    && one.textContent.trim() && !one.closest("svg")
    && parseFloat(getComputedStyle(one).fontSize) < 12).map((one) => one.outerHTML.slice(0, 90)),
  blocking: [...document.querySelectorAll("head script:not([defer]):not([type=module])")].length,
  inline: document.querySelectorAll("script:not([src])").length,
  nodes: document.querySelectorAll("*").length,
})
"""


def post(address: str, path: str, **given: Any) -> str:
    """Send a form as the page does; where it leads."""
    answer = httpx2.post(f"{address}{path}", headers={"origin": address}, timeout=120.0, **given)
    assert answer.status_code in {204, 303}, answer.text
    return answer.headers.get("location", "")


@pytest.fixture(scope="module")
def pages(address: str, tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Every page of a car whose job has come to its proof, and those without a car."""
    folder = tmp_path_factory.mktemp("checked")
    data = {"name": "Checked", "displacement_l": "2.0", "metering": "airflow", "idle_rpm": "700"}
    car = post(address, "/cars", data=data).removesuffix("/record")
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(recording, folder / recording.source)
        file = {"file": (recording.source, (folder / recording.source).read_bytes())}
        post(address, f"{car}/record/file", files=file)
    post(address, f"{car}/{LESSON}/coach", data={"manual": "checked"})
    return [
        address, *(f"{address}{car}/{one}" for one in INSIDE),
        f"{address}/offline", f"{address}/nowhere",
    ]  # fmt: skip


@pytest.fixture
def watched(page: Page) -> tuple[Page, list[str]]:
    """A tab, and what its console and its network complained of."""
    complaints: list[str] = []

    def said(one: ConsoleMessage) -> None:
        # A test takes the worker away, and the browser says so.
        if one.type in {"error", "warning"} and "Service Worker" not in one.text:
            complaints.append(one.text)

    page.on("console", said)
    page.on("pageerror", lambda one: complaints.append(str(one)))
    page.on("requestfailed", lambda one: complaints.append(f"failed: {one.url}"))
    page.add_init_script(SHIFTS)
    return page, complaints


def test_every_page_says_what_it_is_and_complains_of_nothing(
    pages: list[str], watched: tuple[Page, list[str]]
) -> None:
    page, complaints = watched
    titles, wrong = {}, []
    for where in pages:
        answer = page.goto(where, wait_until="networkidle")
        assert answer is not None
        told = page.evaluate(ITSELF)
        titles[where] = told["title"]
        checks = {
            "doctype": (told["doctype"], told["charset"]) == ("CSS1Compat", "UTF-8"),
            "language": told["language"] == "en",
            "viewport": "width=device-width" in told["viewport"],
            "zoom": not {"user-scalable", "maximum-scale"} & set(told["viewport"].split("=")),
            "description": 20 <= len(told["description"]) <= 160,
            "title": len(told["title"]) >= 5,
            "one heading": told["headings"] == 1,
            # The light is set before anything is drawn; nothing else holds the page up.
            "blocking scripts": told["blocking"] <= 1,
            "shift": page.evaluate("shifted") < 0.1,
            "size": told["nodes"] < MOST_NODES,
            "packed": answer.headers.get("content-encoding") == "gzip",
            **{name: name in answer.headers for name in GUARDS},
        }
        wrong += [(where, name) for name, right in checks.items() if not right]
        for none in ("nowhere", "unsized", "doubled", "tiny", "inline"):
            wrong += [(where, f"{none}: {told[none]}")] if told[none] else []
        for script in (SMALL, SMALL_FOR_A_GLOVE):
            wrong += [(where, f"small: {one}") for one in page.evaluate(script)]
        wrong += [(where, one) for one in complaints if answer.status == 200 or "404" not in one]
        complaints.clear()
    assert not wrong, "\n".join(f"{where}: {what}" for where, what in wrong)
    assert len(set(titles.values())) == len(pages), titles


def test_fingers_and_mice_hit_everything_at_a_desk_and_in_german(
    pages: list[str], watched: tuple[Page, list[str]]
) -> None:
    page, _ = watched
    page.set_viewport_size(DESK)
    page.set_extra_http_headers({"accept-language": "de"})
    for where in pages:
        page.goto(where)
        assert page.get_attribute("html", "lang") == "de"
        assert page.evaluate(SMALL) == [], where
        assert page.evaluate("document.documentElement.scrollWidth") <= DESK["width"], where


def test_the_small_target_check_can_fail(pages: list[str], page: Page) -> None:
    page.goto(pages[0])
    page.evaluate(
        "document.querySelector('.lights').insertAdjacentHTML('beforeend',"
        " '<button style=\"all: unset; width: 9px; height: 9px\">x</button>')"
    )
    assert len(page.evaluate(SMALL)) == 1


def test_no_page_takes_anything_from_outside(pages: list[str], page: Page) -> None:
    asked: list[str] = []
    page.on("request", lambda one: asked.append(one.url))
    for where in pages:
        page.goto(where, wait_until="networkidle")
    assert len(asked) > len(pages)
    assert [one for one in asked if not one.startswith((pages[0], "data:"))] == []


def test_it_can_be_installed(address: str) -> None:
    page = httpx2.get(address).text
    where = page.split('rel="manifest" href="')[1].split('"')[0]
    answer = httpx2.get(f"{address}{where}")
    assert answer.headers["content-type"].startswith("application/manifest+json")
    told = answer.json()
    assert told["display"] in {"standalone", "fullscreen", "minimal-ui"}
    assert 0 < len(told["short_name"]) <= 12
    assert told["name"]
    assert httpx2.get(f"{address}{told['start_url']}").status_code == 200
    sizes = set()
    for icon in told["icons"]:
        data = httpx2.get(f"{address}{icon['src']}")
        assert data.headers["content-type"] == icon["type"]
        if icon["type"] == "image/png":
            image = Image.open(io.BytesIO(data.content))
            assert f"{image.width}x{image.height}" == icon["sizes"]
            sizes.add(image.width)
    assert {192, 512} <= sizes


def test_the_shell_stands_when_the_server_is_gone(
    program: Browser, pages: list[str], tmp_path: Path
) -> None:
    """The worker looks after the second page on; what it keeps bears the tag of its parts."""
    context = program.new_context(viewport=PHONE)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(pages[0])
    page.evaluate("navigator.serviceWorker.ready.then(() => 1)")
    page.goto(pages[0])
    assert page.evaluate("navigator.serviceWorker.controller !== null")
    kept = page.evaluate("caches.keys()")
    tag = page.get_attribute("link[rel=manifest]", "href") or ""
    assert kept == [f"bellmouth-{tag.split('/')[2]}"]
    context.set_offline(True)
    page.goto(pages[1])
    assert "server is away" in page.inner_text("h1")
    style = "getComputedStyle(document.querySelector('header.top')).display"
    away = page.evaluate(style)
    context.set_offline(False)
    # It comes back by itself, to the page that was asked for.
    expect(page.locator("h1")).not_to_contain_text("server is away", timeout=PATIENCE_MS)
    assert page.url == pages[1]
    page.goto(pages[0])
    assert page.evaluate(style) == away, "dressed as ever"
    context.close()


def test_what_is_written_in_one_piece_makes_no_page_wide(program: Browser, address: str) -> None:
    """A plate and a work order for a name, a link pasted into a note."""
    name = "W" * 80
    head = {"origin": address}
    with httpx2.Client(base_url=address, headers=head, timeout=60.0) as client:
        car = {"name": name, "displacement_l": "2.0", "metering": "airflow"}
        where = client.post("/cars", data=car).headers["location"].removesuffix("/record")
        client.post(f"{where}/note", data={"text": "https://example.org/" + "n" * 900})
    page = program.new_page(viewport=PHONE, service_workers="block")
    page.set_default_timeout(PATIENCE_MS)
    for inside in ("record", "work", "book", "facts", "delete", "entry/3"):
        page.goto(f"{address}{where}/{inside}")
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], inside
    page.close()
