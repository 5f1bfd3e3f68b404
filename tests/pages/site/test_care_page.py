"""Looking after the book from the page: whole, taken along, made again, deleted."""

import io
import zipfile
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from tests.finding.worked import meter_reads_low
from tests.pages.site.test_job import begin, upload


@pytest.fixture
def car(client: TestClient, tmp_path: Path) -> str:
    path = tmp_path / "before.csv"
    write_csv(meter_reads_low(path.name), path)
    found = begin(client, "To take along")
    upload(client, found, path)
    return found


def test_the_page_says_whether_the_book_is_whole(
    client: TestClient, garage: Garage, car: str, tmp_path: Path
) -> None:
    assert "Yes: every entry" in client.get("/care").text
    kept = garage.book.history("To take along").entries
    (file,) = next(one.files for one in kept if one.kind == "recording")
    next((tmp_path / "book").rglob(Path(file).name)).write_bytes(b"hurt")
    assert "No: see below." in client.get("/care").text


def test_a_car_goes_out_and_in_as_an_archive(client: TestClient, car: str) -> None:
    packed = client.get(f"{car}/archive.zip").content
    assert zipfile.ZipFile(io.BytesIO(packed)).testzip() is None
    sent = {"file": ("car.zip", packed)}
    assert client.post("/care/import", files=sent).status_code == 400, "it is there already"
    client.post(f"{car}/delete", data={"name": "To take along"})
    back = client.post("/care/import", files=sent)
    assert str(back.url).endswith(f"{car}/book")
    assert client.post("/care/import", files={"file": ("c.zip", b"no")}).status_code == 400


def test_findings_made_again_come_out_the_same(client: TestClient, car: str) -> None:
    said = client.get(f"{car}/again").text
    assert "<strong>the same</strong>" in said
    assert "not the same" not in said


def test_a_finding_whose_recording_is_gone_says_so(
    client: TestClient, garage: Garage, car: str, tmp_path: Path
) -> None:
    kept = garage.book.history("To take along").entries
    (file,) = next(one.files for one in kept if one.kind == "recording")
    next((tmp_path / "book").rglob(Path(file).name)).unlink()
    said = client.get(f"{car}/again")
    assert said.status_code == 200
    assert "cannot be made again" in said.text
    assert "is missing" in said.text


def test_a_car_is_deleted_only_by_its_name(client: TestClient, garage: Garage, car: str) -> None:
    assert "Entries:" in client.get(f"{car}/delete").text
    assert client.post(f"{car}/delete", data={"name": "Other"}).status_code == 400
    assert garage.book.has("To take along")
    assert client.post(f"{car}/delete", data={"name": "To take along"}).status_code == 200
    assert not garage.book.has("To take along")


def test_who_made_a_recording_is_kept(client: TestClient, garage: Garage, car: str) -> None:
    other = begin(client, "Read by seven")
    sent = {"file": ("a.csv", client.get(f"{car}/recording/3.csv").content)}
    client.post(f"{other}/record/file", files=sent, data={"by": "7"})
    entries = garage.book.history("Read by seven").entries
    assert next(one for one in entries if one.kind == "recording").document["by"] == "7"
