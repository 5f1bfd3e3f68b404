"""Which two recordings are proved, with good ones, with what was done and with own weights."""

from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.finding.proof_result import Proof
from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from bellmouth.recording.export import write_recording
from bellmouth.recording.of_car import OfCar
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.site.test_job import begin, upload


@pytest.fixture
def recordings(tmp_path: Path) -> list[Path]:
    found = (meter_reads_low("one.csv"), healthy("two.csv"), healthy("three.csv", 9))
    for one in found:
        write_csv(one, tmp_path / one.source)
    return [tmp_path / one.source for one in found]


@pytest.fixture
def car(client: TestClient, recordings: list[Path]) -> str:
    """A job with three recordings and work between the first and the second."""
    found = begin(client, "Chosen")
    upload(client, found, recordings[0])
    client.post(f"{found}/done", data={"work": ["clean_meter"]})
    upload(client, found, recordings[1])
    upload(client, found, recordings[2])
    return found


def entries(garage: Garage, car: str, kind: str) -> list[int]:
    return [one.number for one in garage.visit(car.removeprefix("/car/")).everywhere(kind)]


def test_the_proof_is_of_the_two_that_were_chosen(
    client: TestClient, garage: Garage, car: str, recordings: list[Path]
) -> None:
    one, two, three = entries(garage, car, "recording")
    page = client.get(f"{car}/proof").text
    assert f"Entry {one} against entry {three}." in page
    chosen = client.post(f"{car}/proof/choose", data={"before": one, "after": two})
    assert f"Entry {one} against entry {two}." in chosen.text
    assert "clean airflow meter" in chosen.text
    assert f"against entry {two}." in client.get(f"{car}/proof").text, "it stands"
    kept = len(entries(garage, car, "proof"))
    client.get(f"{car}/proof")
    assert len(entries(garage, car, "proof")) == kept, "looking keeps nothing twice"
    key = car.removeprefix("/car/")
    same = garage.book.judge_work(garage.visit(key).name, one, two).result
    assert isinstance(same, Proof)
    assert client.get(f"/api/cars/{key}/proof").json()["probability"] == same.probability
    client.post(f"{car}/done", data={"work": ["reseal"]})
    write_csv(healthy("four.csv", 12), there := recordings[0].with_name("four.csv"))
    upload(client, car, there)
    four = entries(garage, car, "recording")[-1]
    assert f"Entry {one} against entry {four}." in client.get(f"{car}/proof").text
    assert all(one.same for one in garage.book.recompute(garage.visit(key).name))


def test_a_proof_is_told_what_a_check_showed_after_the_work(
    client: TestClient, garage: Garage, car: str
) -> None:
    one, two, _ = entries(garage, car, "recording")
    asked = {"before": one, "after": two}
    page = client.post(f"{car}/proof/choose", data={**asked, "looked": ["smoke_test=none", ""]})
    assert "Checks counted: smoke test: none." in page.text
    assert '<option value="smoke_test=none" selected>' in page.text
    assert "Checks that were made after the work: smoke test: none." in page.text
    kept = garage.visit(car.removeprefix("/car/")).numbers("proof")[-1].document
    assert kept["results"] == ["smoke_test=none"]
    assert all(
        one.same for one in garage.book.recompute(garage.visit(car.removeprefix("/car/")).name)
    )
    page = client.post(f"{car}/proof/choose", data=asked)
    assert "Checks counted" not in page.text


def test_a_check_that_a_proof_does_not_take_is_told_in_a_sentence(
    client: TestClient, garage: Garage, car: str
) -> None:
    one, two, _ = entries(garage, car, "recording")
    sent = client.post(
        f"{car}/proof/choose", data={"before": one, "after": two, "looked": "fuel_delivery=low"}
    )
    assert sent.status_code == 400
    assert "a proof takes smoke_test, " in sent.text


def test_recordings_that_no_work_lies_between_are_judged_together(
    client: TestClient, garage: Garage, car: str
) -> None:
    one, two, three = entries(garage, car, "recording")
    key = car.removeprefix("/car/")
    page = client.post(f"{car}/finding/of", data={"recording": two}).text
    assert "Judge more recordings together" in page
    both = client.post(f"{car}/finding/also", data={"recording": [one, three, 99]}).text
    kept = garage.visit(key).numbers("finding")[-1].document
    assert (kept["recording"], kept["also"]) == (two, [three]), "the meter was cleaned after one"
    assert f'name="recording" value="{three}" checked' in both
    assert '<th class="n">Of recording</th>' in both
    assert '<th class="n">Of recording</th>' not in page
    assert all(one.same for one in garage.book.recompute(garage.visit(key).name))
    client.post(f"{car}/finding/also", data={})
    assert "also" not in garage.visit(key).numbers("finding")[-1].document
    client.post(f"{car}/finding/also", data={"recording": three})
    client.post(f"{car}/finding/of", data={"recording": one})
    assert "also" not in garage.visit(key).numbers("finding")[-1].document


def test_own_weights_a_good_one_and_what_was_done_are_taken_in(
    client: TestClient, garage: Garage, car: str
) -> None:
    one, two, three = entries(garage, car, "recording")
    said = {"before": one, "after": two, "reference": [three, two, 99], "done": "clean_plate"}
    weights = {"file": ("own.toml", b"leak = 0.5\nhealthy = 0.5\n")}
    page = client.post(f"{car}/proof/choose", data=said, files=weights).text
    assert f"Compared with when it was good: {three}." in page
    assert "clean plate and bore" in page
    assert "With your own weights of the causes." in page
    kept = garage.visit(car.removeprefix("/car/")).numbers("proof")[-1].document
    assert (kept["references"], kept["done"]) == ([three], ["clean_plate"])
    assert kept["prior"] == {"leak": 0.5, "healthy": 0.5}
    again = client.post(
        f"{car}/proof/choose", data={"before": one, "after": three, "own_prior": "keep"}
    )
    assert "With your own weights" in again.text
    without = client.post(f"{car}/proof/choose", data={"before": one, "after": three})
    assert "With your own weights of the causes." not in without.text


@pytest.mark.parametrize(
    ("before", "after", "sentence"),
    [
        (0, 1, "was recorded after"),
        (0, 0, "A proof needs two recordings"),
        (0, None, "is no recording of this car"),
    ],
)
def test_two_that_cannot_be_are_one_sentence(
    client: TestClient, garage: Garage, car: str, before: int, after: int | None, sentence: str
) -> None:
    there = entries(garage, car, "recording")[::-1]
    said = {"before": there[before], "after": 999 if after is None else there[after]}
    answer = client.post(f"{car}/proof/choose", data=said)
    assert answer.status_code == 400
    assert sentence in answer.text


def test_recordings_of_earlier_jobs_can_be_proved_in_a_job_that_has_none(
    client: TestClient, garage: Garage, car: str
) -> None:
    one, two, _ = entries(garage, car, "recording")
    client.post(f"{car}/job", data={"distance": "90000"})
    page = client.get(f"{car}/proof").text
    assert "needs a recording after the work" in page
    assert "Recordings of other jobs" in page
    chosen = client.post(f"{car}/proof/choose", data={"before": one, "after": two})
    assert f"Entry {one} against entry {two}." in chosen.text
    assert client.get(f"{car}/proof/trims.csv").status_code == 200


def test_the_finding_is_of_the_recording_that_was_chosen(
    client: TestClient, garage: Garage, car: str
) -> None:
    one, two, _ = entries(garage, car, "recording")
    assert "the airflow reading is too low" in client.get(f"{car}/finding").text
    client.post(f"{car}/finding/result", data={"check": "smoke_test", "outcome": "none"})
    page = client.post(f"{car}/finding/of", data={"recording": two}).text
    assert "Smoke test: none" not in page, "that was of the engine before"
    assert f'<option value="{two}" selected>' in page
    key = car.removeprefix("/car/")
    causes = client.get(f"/api/cars/{key}/finding").json()["causes"]
    chances = {one["cause"]: one["probability"] for one in causes}
    assert chances["meter_low"] < 0.1 < chances["healthy"], "an idle complained of may be deposit"
    compared = client.post(f"{car}/finding/compare", data={"reference": [one, two]})
    assert garage.visit(key).numbers("finding")[-1].document["references"] == [one]
    assert compared.status_code == 200
    assert client.post(f"{car}/finding/of", data={"recording": 99}).status_code == 400
    back = client.post(f"{car}/finding/of", data={"recording": one}).text
    assert "the airflow reading is too low" in back


def test_which_recording_is_meant_is_told_by_its_entry(
    client: TestClient, garage: Garage, tmp_path: Path
) -> None:
    """Every file that is sent has one name here."""
    car = begin(client, "Sent")
    for mark, made in (("one", meter_reads_low("a.csv")), ("two", healthy("b.csv"))):
        path = tmp_path / f"{mark}.parquet"
        write_recording(replace(made, of_car=OfCar(mark)), path)
        client.post(f"{car}/record/file", files={"file": (path.name, path.read_bytes())})
        client.post(f"{car}/done", data={"work": ["clean_meter"]})
    one, two = entries(garage, car, "recording")
    told = client.get(f"{car}/proof").text
    assert f"Entry {two}: is of another car than Entry {one}, by the VINs" in told
    client.cookies.set("bellmouth_language", "de")
    told = client.get(f"{car}/proof").text
    assert f"Eintrag {two}: ist von einem anderen Auto als Eintrag {one}, nach den" in told
    assert "recording.parquet" not in told
