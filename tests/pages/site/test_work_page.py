"""The job card on the page: the flange's bolts, the manual's value, learning as one chooses."""

from collections.abc import Mapping
from importlib.resources import files

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
from tests.pages.site.test_job import begin

PACK = "pedal-released-position"
PATH = "../../etc/passwd.toml"


@pytest.fixture
def car(client: TestClient) -> str:
    return begin(client, "On the bench")


def test_work_can_be_chosen_before_anything_is_recorded(client: TestClient, car: str) -> None:
    page = client.get(f"{car}/work")
    assert page.status_code == 200
    assert "Nothing is recorded yet" in page.text
    assert "The card on paper" not in page.text
    assert "The card on paper" in client.get(f"{car}/work?work=clean_plate").text


def test_the_flange_is_drawn_with_so_many_bolts(client: TestClient, car: str) -> None:
    every = client.get(f"{car}/work?work=renew_gasket").text
    assert every.count('class="flange"') == 3
    asked = "work=renew_gasket&bolts=4&torque=8+N+m&section=12-3"
    page = client.get(f"{car}/work?{asked}").text
    assert page.count('class="flange"') == 1
    assert "4 bolts" in page
    assert "<strong>8 N m</strong>" in page
    assert 'href="' + f"{car}/card?{asked}".replace("&", "&amp;") in page
    card = client.get(f"{car}/card?{asked}").text
    assert card.count('class="flange"') == 1
    told = client.get(f"{car}/card.json?{asked}").json()
    assert (told["tightening"][0]["bolts"], told["torque"]) == (4, "8 N m")


def test_learning_is_what_the_manual_says(client: TestClient, garage: Garage, car: str) -> None:
    text = (files("bellmouth.learning") / "packs" / f"{PACK}.toml").read_text("utf-8")
    own = text.replace(f'name = "{PACK}"', 'name = "mine"', 1).replace(
        'title = "', 'title = "My ', 1
    )
    client.post(
        "/known/procedure", files={"file": ("mine.toml", own.encode())}, data={"keep": "yes"}
    )
    for name in (PACK, "mine"):
        told = client.get(f"{car}/card.json?work=relearn&learning={name}").json()
        assert [one["name"] for one in told["learning"]] == [name]
    page = client.get(f"{car}/work?work=relearn&learning=mine").text
    assert 'value="mine" checked' in page
    assert "<details open>" in page
    assert client.get(f"{car}/work?work=relearn&learning={PATH}").status_code == 400


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"work": "clean_meter", "torque": "8 N m"}, "leaves it on"),
        ({"work": "clean_meter", "bolts": "4"}, "leaves it on"),
        ({"work": "renew_gasket", "bolts": "5"}, "are 3, 4 or 6"),
        ({"work": "renew_gasket", "bolts": "x"}, "are 3, 4 or 6"),
        ({"work": "renew_gasket", "torque": "hand tight"}, "is a number with its unit"),
        ({"work": "renew_gasket", "section": "x" * 500}, "has no room on the card"),
    ],
)
def test_a_card_that_cannot_be_is_one_sentence_in_the_pages_words(
    client: TestClient, car: str, asked: Mapping[str, str], sentence: str
) -> None:
    answer = client.get(f"{car}/work", params=dict(asked))
    assert answer.status_code == 400
    assert sentence in answer.text
    assert "--" not in answer.text.split("<main")[1].split("</main>")[0]


def test_what_is_made_to_be_printed_leads_back(client: TestClient, car: str) -> None:
    asked = "work=renew_gasket&bolts=4"
    card = client.get(f"{car}/card?{asked}").text
    assert f'href="{car}/work?{asked.replace("&", "&amp;")}">← Back</a>' in card
    assert "@media print { .back { display: none; } }" in card
    place, there = f"{car}/learning/{PACK}", f"/known/procedure/{PACK}/script.html"
    for came_from, back in (
        (f"http://127.0.0.1:8642{place}", place), ("", "/known"), ("http://x//evil/y", "/evil/y"),
    ):  # fmt: skip
        script = client.get(there, headers={"referer": came_from}).text
        assert f'href="{back}">← Back</a>' in script


def test_learning_before_any_work_says_so(client: TestClient, car: str) -> None:
    assert "No work is written down in this job yet." in client.get(f"{car}/learning").text
    client.post(f"{car}/done", data={"work": []})
    assert "calls for no learning" in client.get(f"{car}/learning").text
