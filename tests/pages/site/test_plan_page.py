"""The learning plan: what is done already, what is left out and why; attempts told by eye alone."""

import json

import pytest
from fastapi.testclient import TestClient

from bellmouth.learning.packs import find_procedure
from bellmouth.pages.site.garage import Garage
from tests.pages.site.test_job import begin

FIRST, LAST = "throttle-closed-position", "idle-air-learning-by-pedal"


@pytest.fixture
def car(client: TestClient) -> str:
    found = begin(client, "Planned")
    client.post(f"{found}/done", data={"work": ["clean_plate"]})
    return found


def test_a_plan_without_a_car_says_what_is_done_and_what_is_left_out(client: TestClient) -> None:
    plain = client.get("/procedures?work=throttle_cleaned").text
    assert f'name="because-{LAST}"' in plain
    told = client.get(
        "/procedures", params={"work": "throttle_cleaned", "done": FIRST,
                               f"because-{LAST}": " the lamp is dead. "},
    ).text  # fmt: skip
    assert "<strong>Done.</strong>" in told
    assert "Left out, because the lamp is dead." in told
    assert 'value="the lamp is dead"' in told
    assert "<script>x" not in client.get(
        "/procedures", params={"work": "throttle_cleaned", f"because-{LAST}": "<script>x"}
    ).text  # fmt: skip
    assert client.get("/procedures?work=throttle_cleaned&done=no-such").status_code == 200


def test_a_jobs_plan_keeps_what_was_done_and_why_something_was_left_out(
    client: TestClient, garage: Garage, car: str
) -> None:
    page = client.post(
        f"{car}/learning/{LAST}/settle", data={"settled": "left out", "because": "lamp is dead."}
    ).text
    assert "Left out, because lamp is dead." in page
    page = client.post(f"{car}/learning/{FIRST}/settle", data={"settled": "done"}).text
    assert "<strong>Done.</strong>" in page
    title = find_procedure(LAST).title
    assert f"&#34;{title}&#34; is left out, because lamp is dead." in client.get(f"{car}/book").text
    german = client.get(f"{car}/book", headers={"accept-language": "de"}).text
    assert "wird ausgelassen, weil lamp is dead" in german
    page = client.post(f"{car}/learning/{LAST}/settle", data={"settled": "open"}).text
    assert "Left out" not in page.split('<h2 id="all">')[0].split("Done already, or left out")[-1]
    assert "because lamp is dead" not in page
    nothing = client.post(f"{car}/learning/{LAST}/settle", data={"settled": "left out"})
    assert (nothing.status_code, "Say why it is left out" in nothing.text) == (400, True)
    assert client.post(f"{car}/learning/nobody/settle", data={"settled": "done"}).status_code == 400
    client.post(f"{car}/job", data={"distance": "90000"})
    client.post(f"{car}/done", data={"work": ["clean_plate"]})
    assert "<strong>Done.</strong>" not in client.get(f"{car}/learning").text, "another job"


def test_an_attempt_is_judged_by_what_was_seen_alone(
    client: TestClient, garage: Garage, car: str
) -> None:
    there = f"{car}/learning/{LAST}"
    page = client.get(there).text
    assert 'name="at-lamp_steady"' in page
    procedure = find_procedure(LAST)
    unseen = next(one for one in procedure.conditions if not one.signal)
    steps = {step.name: 3.0 + 2.0 * place for place, step in enumerate(procedure.steps)}
    told = {"at-lamp_blinks": "45,9", "at-lamp_steady": "53.9", f"stood-{unseen.name}": "yes",
            "marks": json.dumps({**steps, "watched_until": 70}), "by": "Ann"}  # fmt: skip
    answer = client.post(f"{there}/judge", data=told)
    assert answer.status_code == 200, answer.text
    kept = garage.visit(car.removeprefix("/car/")).numbers("attempt")[-1].document
    assert kept["by"] == "Ann"
    stood = {one["condition"]: one["judgement"] for one in kept["conditions"]}
    assert stood[unseen.name] == "met"


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({}, "There is nothing to judge by"),
        ({"at-lamp_steady": "soon"}, "is no second of the recording"),
        ({"marks": "[1]"}, "a name and its second each"),
        ({"marks": '{"dance": 3}'}, "dance"),
        ({"at-lamp_steady": "nan"}, "lamp_steady"),
    ],
)
def test_marks_that_are_none_are_one_sentence(
    client: TestClient, car: str, told: dict[str, str], sentence: str
) -> None:
    answer = client.post(f"{car}/learning/{LAST}/judge", data=told)
    assert answer.status_code == 400
    assert sentence in answer.text
