"""The job's card is made of the finding that the job shows: its recording, checks and weights."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.book import judging
from bellmouth.book.store import Store
from bellmouth.car import car_from_mapping
from bellmouth.finding.causes import CAUSES
from bellmouth.finding.result import CauseProbability, Finding
from bellmouth.pages.document import finding_document
from bellmouth.pages.site import view_work
from bellmouth.pages.site.asked_card import AskedCard, card_of
from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from bellmouth.work.finding_file import finding_in
from bellmouth.work.proposal import propose
from tests.example_finding import example_car, example_finding
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.site.test_job import begin, upload

PRIOR = "healthy = 0.02\nmeter_low = 0.0\nmeter_high = 0.0\nleak = 0.9\n"


@pytest.fixture
def low(tmp_path: Path) -> Path:
    write_csv(meter_reads_low(), tmp_path / "low.csv")
    return tmp_path / "low.csv"


@pytest.fixture
def judged(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Recordings that were judged, one after another."""
    told: list[int] = []
    judge = judging.judge

    def counted(store: Store, name: str, recording: int | None = None, **said: object) -> object:
        told.append(recording or 0)
        return judge(store, name, recording, **said)  # type: ignore[arg-type]

    monkeypatch.setattr(judging, "judge", counted)
    return told


def card(client: TestClient, car: str) -> dict[str, list[object]]:
    told: dict[str, list[object]] = client.get(f"{car}/card.json").json()
    return told


def present(garage: Garage, car: str) -> dict[str, float]:
    visit = garage.visit(car.removeprefix("/car/"))
    found: dict[str, float] = visit.numbers("finding")[-1].document["finding"]["present"]
    return found


def first(client: TestClient, garage: Garage, car: str) -> None:
    """What is asked at first, said again."""


def check(client: TestClient, garage: Garage, car: str) -> None:
    said = {"check": "fuel_delivery", "outcome": "normal"}
    assert client.post(f"{car}/finding/result", data=said).status_code == 200


def other(client: TestClient, garage: Garage, car: str) -> None:
    number = garage.visit(car.removeprefix("/car/")).numbers("recording")[-1].number
    client.post(f"{car}/finding/of", data={"recording": number})


def good(client: TestClient, garage: Garage, car: str) -> None:
    number = garage.visit(car.removeprefix("/car/")).numbers("recording")[-1].number
    client.post(f"{car}/finding/compare", data={"reference": number})


def weights(client: TestClient, garage: Garage, car: str) -> None:
    client.post(f"{car}/finding/prior", files={"file": ("own.toml", PRIOR.encode())})


@pytest.mark.parametrize("asked", [first, check, other, good, weights])
def test_the_card_says_what_the_finding_says_and_judges_nothing(
    client: TestClient,
    garage: Garage,
    low: Path,
    judged: list[int],
    asked: Callable[[TestClient, Garage, str], None],
) -> None:
    car = begin(client)
    upload(client, car, low)
    plain = card(client, car)
    write_csv(healthy(), low.with_name("good.csv"))
    upload(client, car, low.with_name("good.csv"))
    asked(client, garage, car)
    before = len(judged)
    told = card(client, car)
    assert len(judged) == before
    shown = client.get(f"/api{car.replace('/car/', '/cars/')}/finding").json()
    assert shown["present"] == present(garage, car)
    again = card_of(
        garage, garage.visit(car.removeprefix("/car/")).car, finding_in(shown, "shown"),
        AskedCard(),
    )  # fmt: skip
    assert told["work_names"] == list(again.works)
    if asked in (check, other, weights):
        assert told["found"] != plain["found"]
    page = client.get(f"{car}/work").text
    assert ticked(page) == [list(again.works), []]


def test_a_job_whose_finding_nobody_looked_at_is_judged_once(
    client: TestClient, low: Path, judged: list[int]
) -> None:
    car = begin(client)
    with low.open("rb") as file:
        client.post(f"{car}/record/file", files={"file": ("a.csv", file)}, follow_redirects=False)
    assert f'data-state="done"><a href="{car}/finding"' in client.get(f"{car}/work").text
    card(client, car)
    assert len(judged) == 1


def test_the_card_names_the_recording_that_its_finding_is_of(
    client: TestClient, garage: Garage, low: Path
) -> None:
    car = begin(client)
    asks = "Record it as it is, warm"
    assert asks in client.get(f"{car}/work?work=clean_meter").text
    upload(client, car, low)
    page = client.get(f"{car}/work?work=clean_meter").text
    assert re.search(r"The before is Entry 3, 20\S+ \S+, which this card was made from: keep", page)
    assert asks not in page
    # One whose file is lost is no before that could be kept; its finding stands.
    entry = garage.visit(car.removeprefix("/car/")).numbers("recording")[0]
    garage.book.files.path(entry.files[0]).unlink()
    assert "If it is lost" in client.get(f"{car}/work?work=clean_meter").text


def test_a_car_that_was_described_anew_is_judged_anew(
    client: TestClient, garage: Garage, low: Path, judged: list[int]
) -> None:
    car = begin(client)
    upload(client, car, low)
    name = garage.visit(car.removeprefix("/car/")).name
    known = garage.book.history(name).entries[0].document["car"]
    # As a command does it, beside the page.
    garage.book.change_car(name, car=car_from_mapping({**known, "displacement_l": 1.4}))
    before = len(judged)
    card(client, car)
    assert len(judged) == before + 1


def test_a_finding_read_back_makes_the_same_card(client: TestClient, garage: Garage) -> None:
    found = example_finding()
    back = finding_in(finding_document(found), "here")
    made, again = (card_of(garage, example_car(), one, AskedCard()) for one in (found, back))
    assert made == again


def of_causes(*causes: str) -> Finding:
    return replace(
        example_finding(), causes=(CauseProbability("+".join(causes), 1.0, {}),),
        present=dict.fromkeys(set(causes) - {"healthy", "unexplained"}, 1.0),
    )  # fmt: skip


def ticked(page: str) -> list[list[str]]:
    """The works ticked in each of the page's two forms."""
    return [re.findall(r'name="work" value="(\w+)" checked', form) for form in forms(page)]


def forms(page: str) -> list[str]:
    return [form for form in page.split("<form")[1:] if 'name="work"' in form]


@pytest.mark.parametrize(
    "causes", [*((one,) for one in (*CAUSES, "healthy", "unexplained")), ("deposit", "leak")]
)
def test_the_page_ticks_what_the_card_asks_for_and_nothing_else(
    client: TestClient, low: Path, monkeypatch: pytest.MonkeyPatch, causes: tuple[str, ...]
) -> None:
    car = begin(client)
    with low.open("rb") as file:
        client.post(f"{car}/record/file", files={"file": ("a.csv", file)}, follow_redirects=False)
    found = of_causes(*causes)
    monkeypatch.setattr(view_work, "shown_finding", lambda *_: found)
    asked = propose(example_car(), found).works
    page = client.get(f"{car}/work").text
    # What is asked for is not done yet.
    assert ticked(page) == [list(asked), []]
    # A gasket goes with a body that comes off, learning with what was learned amiss.
    assert ("renew_gasket" in asked) == ("deposit" in causes)
    learns = {"deposit", "leak", "learned_stale"}
    assert ("relearn" in asked) == bool(learns.intersection(causes))
    assert page.count("The body comes off to be cleaned") == ("deposit" in causes)
    assert ("No work follows from the finding" in page) == (not asked)


def test_stale_learning_leads_to_learning(client: TestClient, garage: Garage) -> None:
    car = begin(client)
    there = client.post(f"{car}/done", data={"work": ["relearn"]}).text
    assert "calls for no learning" not in there
    card = client.get(f"{car}/card.json?work=relearn").json()
    for one in card["learning"]:
        assert f'{car}/learning/{one["name"]}"' in there.split('id="all"')[0]
