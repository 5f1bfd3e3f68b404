"""Causes, checks, procedures and what the book says of the work are on the page too."""

from fastapi.testclient import TestClient

from bellmouth.finding.causes import CAUSES
from bellmouth.finding.check_table import CHECKS
from bellmouth.learning.packs import packs
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.words import name_words
from tests.pages.site.test_job import begin


def test_everything_that_the_commands_list_is_listed(client: TestClient) -> None:
    said = client.get("/known").text
    for name in CAUSES:
        assert f"{name_words(name)}</th>" in said
    for check in CHECKS.values():
        assert name_words(check.name).capitalize() in said
    for one in packs():
        assert f'href="/known/procedure/{one.name}"' in said
        assert client.get(f"/known/procedure/{one.name}").status_code == 200
    assert client.get("/known/procedure/other").status_code == 400


def test_the_steps_of_a_procedure_have_their_seconds(client: TestClient) -> None:
    car = begin(client, "Seconds")
    for where in ("/known/procedure", f"{car}/learning"):
        said = client.get(f"{where}/idle-air-learning-by-pedal").text.replace("\u00a0", " ")
        assert 'Key on <span class="soft">about 3 s (2.5 to 3.5)</span>' in said
        assert "until the lamp stops blinking and stays on, 30 s at most" in said
        german = client.get(
            f"{where}/idle-air-learning-by-pedal", headers={"cookie": "bellmouth_language=de"}
        ).text
        assert "(2,5 bis 3,5)" in german


def test_a_procedure_of_ones_own_is_checked_and_not_kept(client: TestClient) -> None:
    said = client.post("/known/procedure", files={"file": ("p.toml", b"title = 3")})
    assert said.status_code == 400
    assert "title" in said.text
    assert client.post("/known/procedure", files={"file": ("p", b"x" * 300_000)}).status_code == 400


def test_jobs_that_came_back_are_counted_on_the_page(client: TestClient, garage: Garage) -> None:
    car = begin(client, "Back again")
    assert "No job with work in it is old enough" in client.get("/counts").text
    client.post(f"{car}/job", data={"comeback": "yes"})
    jobs = [one for one in garage.book.history("Back again").entries if one.kind == "job"]
    assert jobs[-1].document["comeback_of"] == jobs[0].job
    assert client.get("/counts?within=30").status_code == 200
    assert client.get("/counts?within=0").status_code == 422


def test_a_book_that_has_seen_work_tells_shares(client: TestClient, garage: Garage) -> None:
    for number in range(6):
        name = f"Car {number}"
        garage.book.add_car(name, {"displacement_l": 2.0, "metering": "airflow"})
        job = garage.book.open_job(name, on="2024-01-01").job
        garage.book.add(name, "work", {"done": ["clean_plate"], "by": "7"})
        if number == 0:
            garage.book.open_job(name, on="2024-02-01", comeback_of=job)
    said = client.get("/counts").text
    assert "1 of 6 jobs came back" in said
    assert "clean plate" in said


def test_a_practice_car_is_made_as_it_is_asked_for(client: TestClient, garage: Garage) -> None:
    asked = {"fault": "leak", "size": "2.0", "seed": "12", "variant": "A"}
    answer = client.post("/practice", data=asked, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    (practice,) = garage.practices.values()
    assert practice.car.truth.sizes == {"leak": 2.0}
    again = client.post("/practice", data=asked, follow_redirects=False)
    assert again.headers["location"] != answer.headers["location"]
    wrong = client.post("/practice", data={**asked, "fault": "gremlins"})
    assert (wrong.status_code, "gremlins" in wrong.text) == (400, True)
    assert client.post("/practice", data={**asked, "seed": "x"}).status_code == 400
    assert client.post("/practice", data={**asked, "size": "big"}).status_code == 400
