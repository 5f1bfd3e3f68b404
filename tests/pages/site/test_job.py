"""A whole job on the page, from a car to its book."""

import re
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from tests.finding.worked import recording as recorded

ODD = "Müller's <b>van</b>, #7 / left"


def begin(client: TestClient, name: str = ODD) -> str:
    answer = client.post(
        "/cars",
        data={"name": name, "displacement_l": "2,0", "metering": "airflow", "idle_rpm": "700",
              "distance": "84000", "complaint": "rough idle"},
        follow_redirects=False,
    )  # fmt: skip
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"]).removesuffix("/record")


def upload(client: TestClient, car: str, path: Path) -> str:
    with path.open("rb") as file:
        answer = client.post(f"{car}/record/file", files={"file": (path.name, file)})
    assert answer.status_code == 200, answer.text
    return answer.text


def test_a_job_goes_from_car_to_proof(client: TestClient, files: tuple[Path, Path]) -> None:
    car = begin(client)
    assert "<b>van" not in client.get(f"{car}/record").text
    found = upload(client, car, files[0])
    assert "meter low" in found
    assert found.count("<svg") >= 2
    work = client.get(f"{car}/work").text
    assert 'value="clean_meter"' in work
    assert "clean airflow meter" in work
    learned = client.post(f"{car}/done", data={"work": ["clean_meter"]})
    assert learned.status_code == 200
    assert "needs a recording after the work" in client.get(f"{car}/proof").text
    assert "before the work" in client.get(f"{car}/record").text
    upload(client, car, files[1])
    assert "after the work" in client.get(f"{car}/record").text
    proof = client.get(f"{car}/proof").text
    assert "Better: what was wrong is gone" in proof
    for name in ("finding/trim", "finding/routes", "proof/trims", "proof/throttle"):
        assert f'href="{car}/{name}.csv"' in client.get(f"{car}/{name.split('/')[0]}").text
        numbers = client.get(f"{car}/{name}.csv")
        assert numbers.headers["content-type"].startswith("text/csv")
        assert len(numbers.text.splitlines()) > 3
    assert client.get(f"{car}/finding/other.csv").status_code == 404
    book = client.get(f"{car}/book").text
    for kind in ("recording", "finding", "work", "proof"):
        assert f": {kind}" in book


def test_a_recording_that_cannot_be_judged_is_no_dead_end(
    client: TestClient, files: tuple[Path, Path], tmp_path: Path
) -> None:
    """Kept before the next one was made, it would refuse the finding of either, and the work."""
    unthrottled = recorded("diesel.csv", 3, intake_manifold_pressure=(98.0, 98.0))
    write_csv(unthrottled, there := tmp_path / "diesel.csv")
    car = begin(client, "Odd one")
    with there.open("rb") as file:
        said = client.post(f"{car}/record/file", files={"file": (there.name, file)})
    assert (said.status_code, "idles unthrottled" in said.text) == (400, True)
    work = client.get(f"{car}/work?work=clean_meter")
    assert (work.status_code, "clean airflow meter" in work.text) == (200, True)
    assert "meter low" in upload(client, car, files[0])
    assert 'value="clean_meter"' in client.get(f"{car}/work").text
    client.post(f"{car}/done", data={"work": ["clean_meter"]})
    with files[1].open("rb") as file:
        refused = client.post(f"{car}/record/file", files={"file": ("after.csv", file)})
    assert refused.status_code == 400
    assert "idles unthrottled" in refused.text
    numbers = {"before": "4", "after": "7"}
    assert all(f'value="{one}"' in refused.text for one in numbers.values()), refused.text
    assert "what was wrong is gone" in client.post(f"{car}/proof/choose", data=numbers).text


def test_a_second_recording_without_work_is_no_recording_after_it(
    client: TestClient, files: tuple[Path, Path]
) -> None:
    car = begin(client)
    upload(client, car, files[0])
    upload(client, car, files[1])
    assert "after the work" not in client.get(f"{car}/record").text


def test_the_work_that_was_done_is_told_to_the_proof(
    client: TestClient, files: tuple[Path, Path]
) -> None:
    car = begin(client)
    upload(client, car, files[0])
    client.post(f"{car}/done", data={"work": ["clean_meter"]})
    upload(client, car, files[1])
    client.get(f"{car}/proof")
    key = car.removeprefix("/car/")
    data = client.get(f"/api/cars/{key}/proof").json()
    assert data["verdict"] == "better"


def test_a_result_of_a_check_is_taken_in_and_kept(
    client: TestClient, files: tuple[Path, Path]
) -> None:
    car = begin(client)
    upload(client, car, files[0])
    told = client.post(
        f"{car}/finding/result", data={"check": "smoke_test", "outcome": "none"}
    )  # fmt: skip
    assert "Smoke test: none" in told.text
    again = client.post(f"{car}/finding/result", data={"check": "smoke_test", "outcome": "seen"})
    assert "Smoke test: none" in again.text
    assert "Smoke test: seen" in again.text
    assert "Smoke test: made 2 times, it contradicts itself (none, seen)." in again.text
    head = again.text[: again.text.index('id="likely"')]
    assert "But what was checked again contradicts itself (smoke test): see Mind." in head
    wrong = client.post(f"{car}/finding/result", data={"check": "smoke_test", "outcome": "blue"})
    assert wrong.status_code == 400
    assert "blue" in wrong.text


@pytest.fixture
def kiritimati(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A clock fourteen hours ahead of UTC."""
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("kiritimati")
def test_when_an_entry_was_written_is_told_by_the_clock_on_the_wall(
    client: TestClient, garage: Garage, files: tuple[Path, Path]
) -> None:
    """It was told in UTC, beside a job's day by the clock on the wall."""
    car = begin(client, "Far east")
    for file in files:
        upload(client, car, file)
    entries = garage.book.history("Far east").entries
    one = next(one for one in entries if one.kind == "recording")
    utc = datetime.fromisoformat(one.made_at)
    told = f"{utc + timedelta(hours=14):%Y-%m-%d %H:%M}"
    for page in ("record", "finding", "book", "proof", "card?work=reseal", f"entry/{one.number}"):
        text = client.get(f"{car}/{page}").text
        assert told in text, page
        assert f"{utc:%Y-%m-%d %H:%M}" not in text, page


def test_a_result_that_was_a_wrong_tap_is_taken_back(
    client: TestClient, files: tuple[Path, Path]
) -> None:
    car = begin(client)
    before = upload(client, car, files[0])
    back = f"{car}/finding/result/back"
    for outcome in ("none", "seen"):
        client.post(f"{car}/finding/result", data={"check": "smoke_test", "outcome": outcome})
    left = client.post(back, data={"said": "smoke_test=seen"}).text
    assert "Smoke test: none <form" in left
    assert "Smoke test: seen <form" not in left
    assert "contradicts itself" not in left
    none = client.post(back, data={"said": "smoke_test=none"}).text
    bars = [re.findall(r'class="chance">([^<]+)', text) for text in (before, none)]
    assert bars[0] == bars[1] != []
    again = client.post(back, data={"said": "smoke_test=none"})
    assert (again.status_code, "not among what was told" in again.text) == (400, True)


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        ("x.exe", b"MZ", "Choose a recording that ends in"),
        ("x.csv", b"not a recording", "x"),
        ("../../etc/passwd.csv", b"time [s]\n", "no column is a parameter known here"),
        ("x.parquet", b"PAR1garbage", "damaged or cut short"),
    ],
)
def test_a_wrong_file_is_one_sentence(
    client: TestClient, name: str, data: bytes, sentence: str
) -> None:
    car = begin(client)
    answer = client.post(f"{car}/record/file", files={"file": (name, data)})
    assert answer.status_code == 400
    assert sentence in answer.text
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("path", ["/car/!!!/record", "/car/bm9ib2R5/record", "/nowhere"])
def test_a_wrong_address_is_one_sentence(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in {400, 404}
    assert "That did not work" in answer.text


def test_a_number_that_is_none_names_the_field(client: TestClient) -> None:
    answer = client.post(
        "/cars", data={"name": "a", "displacement_l": "big", "metering": "airflow"}
    )
    assert answer.status_code == 400
    assert "Displacement" in answer.text


def test_every_procedure_has_a_page(client: TestClient) -> None:
    car = begin(client)
    text = client.get(f"{car}/learning").text
    addresses = sorted(set(re.findall(rf'href="({re.escape(car)}/learning/[^"]+)"', text)))
    assert len(addresses) >= 14
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200
        assert "manual comes first" in answer.text


def test_a_card_is_a_page_and_a_sheet(client: TestClient, files: tuple[Path, Path]) -> None:
    car = begin(client)
    assert client.get(f"{car}/card?work=clean_plate").text.startswith("<!DOCTYPE html>")
    sheet = client.get(f"{car}/card.pdf?work=clean_plate")
    assert sheet.content.startswith(b"%PDF")


def test_the_data_is_described(client: TestClient) -> None:
    described = client.get("/api/openapi.json").json()
    assert "/api/cars/{key}/finding" in described["paths"]
    assert "Standing" in described["components"]["schemas"]


def test_the_first_page_shows_the_newest_cars_and_keeps_the_rest_below(client: TestClient) -> None:
    for number in range(11):
        begin(client, f"Shop car {number}")
    text = client.get("/").text
    newest, earlier = text.split("Earlier ones: 3")
    newest = newest[newest.index("Cars in the book") :]
    assert [f"Shop car {number}<" in newest for number in range(11)] == [False] * 3 + [True] * 8
    assert [f"Shop car {number}<" in earlier for number in range(11)] == [True] * 3 + [False] * 8


def test_a_practice_car_can_be_the_first_car_of_all(client: TestClient) -> None:
    answer = client.post("/practice", follow_redirects=False)
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"].endswith("/record")


def test_what_is_to_be_done_after_all_makes_no_recording_one_after_the_work(
    client: TestClient, files: tuple[Path, Path]
) -> None:
    car = begin(client, "Settled")
    upload(client, car, files[0])
    there = f"{car}/learning/idle-air-learning-by-pedal/settle"
    client.post(there, data={"settled": "done"})
    client.post(there, data={"settled": "open"})
    with files[1].open("rb") as file:
        sent = client.post(f"{car}/record/file", files={"file": (files[1].name, file)})
    assert sent.url.path == f"{car}/finding"
    page = client.get(f"{car}/record").text
    assert (page.count("before the work"), page.count("after the work")) == (2, 0)
