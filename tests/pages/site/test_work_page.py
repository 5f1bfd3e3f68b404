"""The job card on the page: the flange's bolts, the manual's value, learning as one chooses."""

import re
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.learning import judge
from bellmouth.pages.judgement import judgement_document
from bellmouth.pages.site.garage import Garage
from tests.pages.site.test_job import begin

PACK = "pedal-released-position"
IDLE = "idle-air-learning-by-pedal"
PLATE = "throttle-closed-position"
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


def test_work_is_told_where_the_recording_tells_nothing(
    client: TestClient, garage: Garage, car: str, tmp_path: Path
) -> None:
    """As after a capture that was ended before the engine ran: the page was a refusal."""
    rows = "".join(f"{at},0,0.0\n" for at in range(40))
    path = tmp_path / "still.csv"
    path.write_text(f"time [s],engine_speed [rpm],mass_air_flow [g/s]\n{rows}")
    garage.book.add_recording("On the bench", path)
    assert client.get(f"{car}/finding").status_code == 400
    page = client.get(f"{car}/work")
    assert page.status_code == 200, page.text
    assert "No finding could be made: tick what you mean to do" in page.text
    assert "What was really done" in page.text
    assert "The card on paper" in client.get(f"{car}/work?work=clean_plate").text
    bare = client.get(f"{car}/card")
    assert (bare.status_code, "Tick the work." in bare.text) == (400, True)
    assert "--finding" not in bare.text


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
    client.post(f"{car}/done", data={"work": ["nothing"]})
    assert "calls for no learning" in client.get(f"{car}/learning").text


def attempt(garage: Garage, car: str, name: str, judgement: str) -> None:
    """An attempt in the car's book."""
    said = judgement_document(judge(None, garage.procedures.find(name), {"key_on": [0.0]}))
    visit = garage.visit(car.removeprefix("/car/"))
    garage.book.add(visit.name, "attempt", {**said, "judgement": judgement})


def ticked_done(client: TestClient, car: str) -> list[str]:
    page = client.get(f"{car}/work?work=clean_plate&work=relearn").text
    return re.findall(r'name="work" value="(\w+)" checked', page.split('id="done"')[1])


def test_what_was_done_is_ticked_as_the_book_says_and_not_as_it_is_meant(
    client: TestClient, garage: Garage, car: str
) -> None:
    assert ticked_done(client, car) == []
    client.post(f"{car}/done", data={"work": ["clean_plate"]})
    page = client.get(f"{car}/work").text
    assert "Written down in this job already: clean plate and bore</p>" in page
    for name, judgement in ((IDLE, "missed"), (IDLE, "cannot tell"), (PACK, "met")):
        attempt(garage, car, name, judgement)
        assert ticked_done(client, car) == []
    attempt(garage, car, IDLE, "met")
    assert ticked_done(client, car) == ["relearn"]
    assert "Learned since, as the book says: " in client.get(f"{car}/work").text
    assert "<strong>Done.</strong>" in client.get(f"{car}/learning").text
    # Cleaned once more, it has to learn once more.
    client.post(f"{car}/done", data={"work": ["clean_plate"]})
    assert ticked_done(client, car) == []
    assert "<strong>Done.</strong>" not in client.get(f"{car}/learning").text
    client.post(f"{car}/learning/{IDLE}/settle", data={"settled": "done"})
    assert ticked_done(client, car) == ["relearn"]
    client.post(f"{car}/learning/{IDLE}/settle", data={"settled": "open"})
    assert ticked_done(client, car) == []


def test_what_was_done_already_holds_until_there_is_work_again(
    client: TestClient, car: str
) -> None:
    client.post(f"{car}/done", data={"work": ["clean_plate"]})
    for name in (PLATE, IDLE):
        client.post(f"{car}/learning/{name}/settle", data={"settled": "done"})
    assert client.get(f"{car}/learning").text.count("<strong>Done.</strong>") == 2
    client.post(f"{car}/done", data={"work": ["relearn"]})
    assert client.get(f"{car}/learning").text.count("<strong>Done.</strong>") == 2
    client.post(f"{car}/done", data={"work": ["clean_plate"]})
    page = client.get(f"{car}/learning").text
    assert "<strong>Done.</strong>" not in page
    assert "It is to be done after all" not in page
    assert ticked_done(client, car) == [], "as the work's screen has it"


def test_what_is_to_be_done_after_all_is_not_done_on_either_screen(
    client: TestClient, garage: Garage, car: str
) -> None:
    client.post(f"{car}/done", data={"work": ["clean_plate"]})
    attempt(garage, car, IDLE, "met")
    client.post(f"{car}/learning/{IDLE}/settle", data={"settled": "open"})
    assert ticked_done(client, car) == []
    assert "<strong>Done.</strong>" not in client.get(f"{car}/learning").text


def test_what_was_done_is_told_and_not_guessed(client: TestClient, car: str) -> None:
    for work, sentence in (
        ([], "Tick what was done, or that nothing was."),
        (["nothing", "reseal"], "untick one of the two"),
    ):
        answer = client.post(f"{car}/done", data={"work": work})
        assert answer.status_code == 400
        assert sentence in answer.text
    assert "No work is written down" in client.get(f"{car}/learning").text


def test_the_learning_of_work_that_is_meant_can_be_looked_at(client: TestClient, car: str) -> None:
    page = client.get(f"{car}/work?work=relearn").text
    assert f'href="{car}/learning?work=relearn"' in page
    planned = client.get(f"{car}/learning?work=relearn").text.split('id="all"')[0]
    assert f'{car}/learning/{IDLE}"' in planned


def test_a_card_says_which_of_the_shops_cars_it_is_for(client: TestClient, car: str) -> None:
    """On paper nothing else does: two cards of one morning could not be told apart."""
    asked = "work=clean_plate"
    assert "<strong>On the bench</strong>" in client.get(f"{car}/card?{asked}").text
    assert client.get(f"{car}/card.pdf?{asked}").status_code == 200
    odd = begin(client, "<i>two</i> & a half")
    assert (
        "<strong>&lt;i&gt;two&lt;/i&gt; &amp; a half</strong>"
        in client.get(f"{odd}/card?{asked}").text
    )
