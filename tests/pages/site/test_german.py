"""Whole jobs in German and in US units: nothing on any page is left in English or in metric."""

import functools
import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from bellmouth.book.book import Book
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from tests.english import ENGLISH, METRIC
from tests.pages.site.conftest import HOST
from tests.pages.site.whole_job import NAMES, ask, errors, jobs, texts

#: Names, signs and words that are alike in both languages.
ALIKE = re.compile(
    r"Bellmouth.*|English|Deutsch|US|CSV|Parquet|MDF|Start|bellmouth .*|[\W\d_]*|slcan|Garage|"
    r"Xq-\d|qx\d?(\.\w+)?|§+|rpm|normal|Median|Nr\.|/dev/ttyUSB0|.*\.csv:?|car|van|Bank \d|"
    r"\{.*\}|P0\d+|[\d.,\s…]+(s|%|MB|L)|Code|Codes|Qx \[%\]|Letter|Matplotlib.*|image/.*|"
    r"Müller's.*|[A-E]|MDF 4|kPa|km|g/s|°C|mm²?"
)
#: Also German, or written so in a file or a command whatever the language.
_ALSO = re.compile(
    r"\b(was|an|war|Leck|bellmouth [a-z ]+|leak = 0\.5|displacement_l = \d+|on-board)\b|"
    r"„[^“]*“|\"[^\"]*\"|/tmp\S*|recording\.\w+"
)
BOTH = ("de", "en")


class Walked(list[str]):
    """Addresses, each page asked for once in each language and units."""

    def __init__(self, client: TestClient, pages: list[str]) -> None:
        super().__init__(pages)
        self._ask = functools.cache(functools.partial(ask, client))

    def page(self, path: str, language: str, units: str = "metric") -> str:
        """A page as its reader gets it."""
        return self._ask(path, language, units)


Done = tuple[TestClient, Walked]


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Done]:
    folder = tmp_path_factory.mktemp("whole")
    for name in ("captures", "files"):
        (folder / name).mkdir()
    garage = Garage(Book(folder / "book"), folder / "captures")
    app = create_app(garage, Settings(frozenset({HOST}), most_bytes=2_000_000))
    with TestClient(app, base_url=f"http://{HOST}") as client:
        client.headers["origin"] = f"http://{HOST}"
        yield client, Walked(client, jobs(client, garage, folder / "files"))


def english_in(html: str) -> set[str]:
    return {
        text
        for text in texts(html)
        if not ALIKE.fullmatch(text) and ENGLISH.search(_ALSO.sub("", text))
    }


def test_no_text_of_a_whole_job_stays_english(done: Done) -> None:
    _, pages = done
    left = {path: found for path in pages if (found := english_in(pages.page(path, "de")))}
    assert left == {}


def test_no_text_is_the_same_in_both_languages(done: Done) -> None:
    """What the other test's words do not show: names of causes, heads of tables."""
    _, pages = done
    same: dict[str, set[str]] = {}
    for path in pages:
        english, german = (set(texts(pages.page(path, one))) for one in ("en", "de"))
        found = {one for one in english & german if not ALIKE.fullmatch(one)}
        if found:
            same[path] = found
    assert same == {}


def test_nothing_is_marked_as_another_language(done: Done) -> None:
    """But the names of the languages, where one is chosen."""
    _, pages = done
    for path in pages:
        marked = re.findall(r'<(\w+)[^>]* lang="(?!de")\w+"', pages.page(path, "de"))
        assert marked in ([], ["option"]), path


def test_the_pages_that_were_walked_hold_what_can_be_said(
    done: Done,
) -> None:
    """A fault, health, nothing that fits; better, worse, the same; a row without a finding."""
    _, pages = done
    shown = " ".join(pages.page(path, "en") for path in pages)
    for part in (
        "the airflow reading is too low", "nothing is wrong with the air path",
        "No cause known here fits", "Better: what was wrong is gone", "Probably a new leak",
        "is no parameter known here",
        "Without a finding, and why", "Checks counted", "Repeat it. Missed",
    ):  # fmt: skip
        assert part in shown, part


def test_a_mistake_is_told_in_german(done: Done) -> None:
    client, pages = done
    car = pages[4].rsplit("/", 1)[0]
    answers = errors(client, car, "de")
    refused = [answer for answer in answers if answer.status_code in {400, 404, 422}]
    assert len(refused) >= 20
    left = {
        one.url.path: found
        for one in refused
        # Outcomes are named as they are typed, as names of causes and checks are.
        if (found := english_in(one.text.replace("none, seen", "")))
    }
    assert left == {}


@pytest.mark.parametrize("language", BOTH)
def test_us_units_leave_nothing_metric(done: Done, language: str) -> None:
    _, pages = done
    left = {}
    for path in pages:
        found = {one for one in texts(pages.page(path, language, "us")) if METRIC.search(one)}
        if found:
            left[path] = found
    assert left == {}


def test_us_units_say_the_same_sizes(done: Done) -> None:
    _, pages = done
    proof = next(path for path in pages if path.endswith("/proof") and "WHEtMg" in path)
    metric, us = (" ".join(texts(pages.page(proof, "en", one))) for one in ("metric", "us"))
    size = re.search(r"like a round hole of ([\d.]+) mm", metric)
    same = re.search(r"like a round hole of ([\d.]+) in", us)
    assert size is not None
    assert same is not None
    assert float(same[1]) * 25.4 == pytest.approx(float(size[1]), rel=0.03)


def test_a_name_is_never_translated(done: Done) -> None:
    _, pages = done
    shown = pages.page("/", "de")
    assert all(name in shown for name in NAMES)


def test_an_outcome_may_be_told_in_german(done: Done) -> None:
    client, pages = done
    car = pages[4].rsplit("/", 1)[0]
    told = client.post(
        f"{car}/finding/result",
        data={"check": "bore_look", "outcome": "sauber"},
        headers={"accept-language": "de"},
    )
    assert told.status_code == 200
    assert "Blick in die Bohrung: sauber" in " ".join(texts(told.text))
