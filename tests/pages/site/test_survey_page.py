"""The survey on the page: of the book and of files, its progress, pictures and table."""

import io
from pathlib import Path

import polars as pl
import pytest
from fastapi.testclient import TestClient

from bellmouth.finding.result import Finding
from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from tests.finding.worked import meter_reads_low
from tests.pages.site.test_job import begin


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("survey") / "van-1.csv"
    write_csv(meter_reads_low("van-1.csv"), path)
    return path


def finished(garage: Garage) -> None:
    thread = garage.surveys[-1]._thread
    assert thread is not None
    thread.join(timeout=600.0)


def test_the_book_is_surveyed(client: TestClient, garage: Garage, file: Path) -> None:
    car = begin(client)
    client.post(f"{car}/record/file", files={"file": ("a.csv", file.read_bytes())},
                follow_redirects=False)  # fmt: skip
    assert client.post("/survey/book").status_code == 200
    finished(garage)
    shown = client.get("/survey/1").text
    assert "1 recording of 1 car" in shown
    assert "<svg" in shown
    assert "Müller&#39;s" in shown
    table = pl.read_csv(io.BytesIO(client.get("/survey/1/findings.csv").content))
    assert table["car"].to_list() == ["Müller's <b>van</b>, #7 / left"]
    assert table["error"].to_list() == [None]
    assert table["recording"].to_list() == ["entry 3"]
    judged = garage.book.judge("Müller's <b>van</b>, #7 / left").result
    assert isinstance(judged, Finding)
    likeliest = judged.causes[0]
    assert table["cause"][0] == likeliest.cause
    assert table["probability"][0] == pytest.approx(likeliest.probability)
    assert client.get("/survey/1/findings.parquet").content[:4] == b"PAR1"
    report = client.get("/survey/1/report.html", headers={"accept-language": "de"})
    assert "attachment" in report.headers["content-disposition"]
    assert "<svg" in report.text
    assert 'lang="de"' in report.text
    too_few = client.post("/survey/1/family", data={"name": ""})
    assert (too_few.status_code, "family" in too_few.text) == (400, True)
    assert client.get("/survey/9/report.html").status_code == 400


def test_files_are_surveyed_under_names_of_our_own(
    client: TestClient, garage: Garage, file: Path
) -> None:
    cars = b"car,displacement_l,metering\nvan,2.0,airflow\nbus,2.0,airflow\n"
    answer = client.post(
        "/survey/files",
        files=[("cars", ("cars.csv", cars)), ("files", ("../../van-1.csv", file.read_bytes()))],
    )  # fmt: skip
    assert answer.status_code == 200, answer.text
    finished(garage)
    shown = client.get("/survey/1").text
    assert "van-1.csv" in shown
    assert "no recording of this car was given" in shown


def test_why_a_file_has_no_finding_calls_it_as_it_was_sent(
    client: TestClient, garage: Garage, file: Path
) -> None:
    cars = b"car,displacement_l,metering\nvan,2.0,airflow\n"
    sent = [("files", ("van-1.csv", file.read_bytes())), ("files", ("van-2.csv", b"a,b\n1,2\n"))]
    client.post("/survey/files", files=[("cars", ("cars.csv", cars)), *sent])
    finished(garage)
    table = pl.read_csv(io.BytesIO(client.get("/survey/1/findings.csv").content))
    why = dict(zip(table["recording"], table["error"], strict=True))
    assert why["van-1.csv"] is None
    assert str(why["van-2.csv"]).startswith("van-2.csv, line 1: no time column.")


def test_a_file_of_no_car_is_one_sentence(client: TestClient, file: Path) -> None:
    cars = b"car,displacement_l,metering\nbus,2.0,airflow\n"
    answer = client.post(
        "/survey/files", files=[("cars", ("c.csv", cars)), ("files", ("van.csv", b"x"))]
    )
    assert answer.status_code == 400
    assert "van.csv: belongs to no car of the table" in answer.text


@pytest.mark.parametrize("path", ["/survey/1", "/survey/0", "/survey/1/findings.csv"])
def test_a_survey_that_is_not_there_is_one_sentence(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 400
    assert "no such survey" in answer.text


def test_an_empty_book_has_nothing_to_survey(client: TestClient) -> None:
    answer = client.post("/survey/book")
    assert answer.status_code == 400
    assert "has a recording yet" in answer.text
