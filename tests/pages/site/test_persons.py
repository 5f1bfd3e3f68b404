"""Whose timing: attempts on the page teach of a person, who is then called as suits them."""

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from bellmouth.learning.attempts import Attempts
from bellmouth.learning.packs import find_procedure
from bellmouth.learning.schedule import stretches
from bellmouth.pages.site.garage import Garage
from tests.pages.site.test_job import begin

PROCEDURE = "idle-air-learning-by-pedal"
LATE_S = 0.4


@pytest.fixture
def coached(client: TestClient) -> str:
    """A procedure's address on a car whose manual was checked for it."""
    there = f"{begin(client, 'Coached')}/learning/{PROCEDURE}"
    client.post(f"{there}/coach", data={"manual": "checked"})
    return there


def taps(late_s: float = LATE_S, key_late_s: float | None = None) -> list[dict[str, Any]]:
    """Each action of the first stretch, tapped so much after it was called; the key apart."""

    def late(kind: str) -> float:
        return key_late_s if kind == "key" and key_late_s is not None else late_s

    edges = stretches(find_procedure(PROCEDURE))[0].edges
    return [
        {"means": one.action, "at_s": 8.0 + one.at_s + late(one.kind), "cued_s": 8.0 + one.at_s,
         "step": one.step, "kind": one.kind, "number": one.number}
        for one in edges
    ]  # fmt: skip


def attempt(client: TestClient, there: str, ident: str, person: str = "7", **said: Any) -> str:
    told = {"id": ident * 16, "phase": "done", "taps": taps(), "person": person, **said}
    answer = client.post(f"{there}/attempt", json=told)
    assert answer.status_code == 200, answer.text
    return str(answer.json()["see"])


def called(client: TestClient, there: str, query: str = "") -> list[float]:
    """When each action of the first stretch is called."""
    made = client.get(f"{there}/plan{query}").json()["stretches"][0]
    return [one["at_s"] for one in made["cues"] if one["kind"] == "now" and one["edge"] >= 0]


def test_an_attempt_is_kept_with_whose_it_is_and_every_timing(
    client: TestClient, garage: Garage, coached: str
) -> None:
    see = attempt(client, coached, "ab", "  Ann  B ")
    kept = garage.attempts.read("Ann B")
    assert [one.procedure for one in kept] == [PROCEDURE]
    late = [one.done_s - one.cued_s for one in kept[0].timings]
    assert late == pytest.approx([LATE_S] * len(taps()))
    assert kept[0].outcome == "done"
    assert "Made by <bdi>Ann B</bdi>" in client.get(see).text
    attempt(client, coached, "ab", "Ann B")
    assert len(garage.attempts.read("Ann B")) == 1, "sent twice, it is kept once"


def test_who_is_late_is_called_earlier(client: TestClient, coached: str) -> None:
    before = called(client, coached, "?person=7")
    assert before == called(client, coached), "nobody knows this person yet"
    for ident in ("ab", "cd", "ef"):
        attempt(client, coached, ident, taps=taps(0.8, key_late_s=0.0))
    after = called(client, coached, "?person=7")
    sooner = [one - other for one, other in zip(before, after, strict=True)]
    assert max(sooner) > 0.1
    assert called(client, coached, "?person=7&lead_ms=0") == before, "what is asked for wins"
    assert called(client, coached, "?person=8") == before, "nobody is taken for another"


def test_the_chance_to_pass_is_told_by_the_persons_attempts(
    client: TestClient, coached: str
) -> None:
    first = client.get(f"{coached}/chances?person=7").text
    assert "before any attempt" in first
    see = attempt(client, coached, "ab")
    page = client.get(f"{coached}/chances?person=7").text
    for part in (
        "Chance of passing",
        "from 1 attempt",
        "By the attempts of",
        "Late by",
        "Practise:",
    ):
        assert part in page, part
    assert "from 1 attempt" in client.get(f"{coached}/chances").text, "everybody's"
    assert f"{coached}/chances?person=7" in client.get(see).text


def test_a_void_attempt_tells_nothing_of_anybody(
    client: TestClient, garage: Garage, coached: str
) -> None:
    attempt(client, coached, "ab", phase="void", why="The page was hidden.")
    assert [one.outcome for one in garage.attempts.read("7")] == ["void"]
    assert "before any attempt" in client.get(f"{coached}/chances?person=7").text


def test_a_full_disk_takes_no_attempt_away(
    client: TestClient, garage: Garage, coached: str
) -> None:
    garage.attempts = Attempts(garage.book.place.files / "book.db")
    assert client.get(attempt(client, coached, "ab")).status_code == 200


@pytest.mark.parametrize(
    "wrong", [{"kind": "dance"}, {"number": -1}, {"cued_s": -1.0}, {"step": "x" * 99}]
)
def test_a_tap_that_is_none_is_refused(
    client: TestClient, coached: str, wrong: dict[str, Any]
) -> None:
    told = {"id": "ab" * 16, "phase": "done", "taps": [{**taps()[0], **wrong}]}
    answer = client.post(f"{coached}/attempt", content=json.dumps(told),
                         headers={"content-type": "application/json"})  # fmt: skip
    assert answer.status_code == 422


def test_a_procedure_on_paper_is_in_the_readers_language_and_units(client: TestClient) -> None:
    there = f"/known/procedure/{PROCEDURE}"
    for where in (there, f"{begin(client, 'Paper')}/learning/{PROCEDURE}"):
        page = client.get(where).text
        assert f"{there}/card.html" in page
        assert f"{there}/script.html" in page
    card = client.get(f"{there}/card.html").text
    assert "Coolant 70 to 95 °C" in card
    assert "degC" not in card
    us = client.get(f"{there}/card.html", headers={"cookie": "bellmouth_units=us"}).text
    assert "158 to 203 °F" in us
    assert ">km <" not in us
    german = client.get(f"{there}/script.html", headers={"accept-language": "de"}).text
    assert "Einer ruft, einer handelt" in german
    assert "<script" not in german
    english = client.get(f"{there}/script.html").text
    assert "the caller reads, the doer acts" in english
    assert "start the watch again at 0" in english
    assert client.get(f"{there}/poster.html").status_code == 422
    assert client.get("/known/procedure/..%2fx/card.html").status_code in {400, 404}
