"""Engine families on the page: brought, shown, and used by finding, proof and forecast."""

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.book.judging import recompute
from bellmouth.pages.site import view_families
from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from tests.finding.test_family import family
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.site.test_job import begin, upload


@pytest.fixture
def number(garage: Garage) -> int:
    return garage.families.add(family())


def test_a_family_file_is_kept_shown_and_given_back(client: TestClient, tmp_path: Path) -> None:
    family().write(tmp_path / "two.toml")
    content = (tmp_path / "two.toml").read_bytes()
    said = client.post("/families/file", files={"file": ("../two.toml", content)})
    assert said.status_code == 200, said.text
    assert "two litre" in said.text
    assert "filling at 35\u00a0kPa" in said.text
    assert client.get(f"{said.url.path}/family.toml").content == content
    assert 'href="/families/1"' in client.get("/families").text
    assert client.post("/families/1/drop").status_code == 200
    assert client.get("/families/1").status_code == 400
    assert client.post("/families/file", files={"file": ("a.toml", b"x = 1")}).status_code == 400


def test_a_car_is_judged_as_one_of_a_family_and_again_as_any(
    client: TestClient, garage: Garage, number: int, tmp_path: Path
) -> None:
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(recording, tmp_path / recording.source)
    car = begin(client, "One of many")
    upload(client, car, tmp_path / "before.csv")
    said = client.post(f"{car}/finding/family", data={"number": str(number)}).text
    assert "Judged as one of the family two litre." in said
    client.post(f"{car}/done", data={"work": ["clean_meter"]})
    upload(client, car, tmp_path / "after.csv")
    assert client.get(f"{car}/proof").status_code == 200
    assert client.get(f"{car}/book").status_code == 200
    entries = garage.book.history("One of many").entries
    found = {one.kind: one.document.get("family") for one in entries}
    assert found["finding"] == found["proof"]
    assert found["finding"] is not None
    assert found["finding"]["name"] == "two litre"
    garage.families.drop(number)
    made = recompute(garage.book, "One of many")
    assert [one.differences for one in made if not one.same] == [], "it keeps what it needs"
    any_car = client.post(f"{car}/finding/family", data={"number": ""}).text
    assert "Judged as any car" in any_car
    assert client.post(f"{car}/finding/family", data={"number": "77"}).status_code == 400


def test_a_family_is_learnt_from_files_that_begin_with_their_car(
    client: TestClient, garage: Garage, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[list[str], str, object]] = []

    def learned(table: Path, files: list[tuple[str, Path]], name: str, book: object) -> object:
        asked.append(([given for given, _ in files], name, book))
        assert all(path.is_file() for _, path in files)
        return family()

    monkeypatch.setattr(view_families, "_learned", learned)
    sent = [("cars", ("cars.csv", b"car\n")), *(("files", (f"c{n}.csv", b"x")) for n in range(3))]
    said = client.post("/families/learn", files=sent, data={"name": " two litre "})
    assert said.status_code == 200
    assert asked == [(["c0.csv", "c1.csv", "c2.csv"], "two litre", None)]
    client.post("/families/learn", files=sent, data={"growth": "yes"})
    assert asked[-1][2] is garage.book, "how fast they get dirty is asked of the book"


def test_too_few_cars_are_no_family_and_names_are_no_paths(
    client: TestClient, tmp_path: Path
) -> None:
    write_csv(healthy("a.csv"), tmp_path / "a.csv")
    content = (tmp_path / "a.csv").read_bytes()
    table = b"car,displacement_l,metering\nvan1,2.0,airflow\nvan2,2.0,airflow\n"

    def learn(names: list[str], table: bytes = table) -> str:
        files = [("cars", ("cars.csv", table)), *(("files", (one, content)) for one in names)]
        answer = client.post("/families/learn", files=files)
        assert answer.status_code == 400
        return answer.text

    assert "8" in learn(["van1-a.csv", "van2-a.csv"])
    assert "belongs to no car" in learn(["strange.csv"])
    odd = b"car,displacement_l,metering\n..x,2.0,airflow\n"
    assert "belongs to no car" in learn(["../../van.csv"], odd)
