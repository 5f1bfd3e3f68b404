"""What the commands can do and a mechanic looks for on the page: a backup, a forecast with its
reasons, a procedure of one's own, who did the work, the finding and the proof as one file."""

import io
import zipfile
from importlib.resources import files
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.book.book import Book
from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.site.test_job import begin, upload

PACK = "idle-air-learning-by-pedal"


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    for recording in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(recording, tmp_path / recording.source)
    return tmp_path / "before.csv", tmp_path / "after.csv"


@pytest.fixture
def own() -> bytes:
    text = (files("bellmouth.learning") / "packs" / f"{PACK}.toml").read_text("utf-8")
    return (
        text.replace(f'name = "{PACK}"', 'name = "from-my-manual"', 1)
        .replace('title = "', 'title = "Mine: <b> ', 1)
        .encode()
    )


def test_the_backup_is_a_book_that_opens(
    client: TestClient, pair: tuple[Path, Path], tmp_path: Path
) -> None:
    car = begin(client, "Backed up")
    upload(client, car, pair[0])
    answer = client.get("/care/backup.zip")
    assert answer.headers["content-type"] == "application/zip"
    assert "bellmouth-book-" in answer.headers["content-disposition"]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        packed.extractall(tmp_path / "again")
    found = Book(tmp_path / "again")
    try:
        assert found.check().problems == ()
        assert found.recording("Backed up", 3).series.keys() >= {"engine_speed"}
    finally:
        found.close()


def test_what_a_crash_left_is_swept_when_asked(client: TestClient, garage: Garage) -> None:
    loose = garage.book.files.keep("photos", b"left by a crash", "jpg")
    assert garage.book.check().loose == (loose,)
    assert "Remove them" in client.get("/care").text
    assert "Remove them" not in client.post("/care/sweep").text
    assert garage.book.check().loose == ()


def test_the_forecast_says_when_how_sure_and_why(
    client: TestClient, pair: tuple[Path, Path]
) -> None:
    car = begin(client, "Forecast")
    upload(client, car, pair[0])
    said = client.get(f"{car}/book").text
    for part in (
        "Inspect the throttle plate", "nine in ten", "The deposit is now", "Forecast otherwise",
        "Where the maker gives an interval",
    ):  # fmt: skip
        assert part in said, part
    other = client.get(f"{car}/book?level=3").text
    assert "worth one from 3.0\u00a0mm²" in other
    assert "forecast.csv?level=3" in other
    assert client.get(f"{car}/forecast.svg?level=3").status_code == 200
    assert client.get(f"{car}/forecast.csv?level=3").text != client.get(f"{car}/forecast.csv").text
    us = client.get(f"{car}/book?level=0.01", headers={"cookie": "bellmouth_units=us"}).text
    assert "in²" in us
    for wrong in ("level=x", "level=9999", "level=nan", "family=77"):
        assert client.get(f"{car}/book?{wrong}").status_code == 400, wrong


def test_a_procedure_of_ones_own_is_kept_coached_judged_and_put_away(
    client: TestClient, garage: Garage, own: bytes
) -> None:
    sent = {"file": ("mine.toml", own)}
    assert "from-my-manual" not in client.post("/known/procedure", files=sent).headers
    assert garage.procedures.all() == (), "checked is not kept"
    kept = client.post("/known/procedure", files=sent, data={"keep": "yes"})
    assert str(kept.url).endswith("/known/procedure/from-my-manual")
    assert "Mine: &lt;b&gt;" in client.get("/known").text
    car = begin(client, "Own procedure")
    assert "from-my-manual" in client.get(f"{car}/learning").text
    there = f"{car}/learning/from-my-manual"
    assert client.get(f"{there}/coach").status_code == 400, "the manual first"
    assert client.post(f"{there}/coach", data={"manual": "checked"}).status_code == 200
    assert client.get(f"{there}/plan").json()
    csv = b"time [s],engine_speed [rpm]\n0.0,700\n1.0,700\n2.0,700\n"
    judged = client.post(f"{there}/judge", files={"file": ("a.csv", csv)})
    assert judged.status_code == 200, judged.text
    client.post("/known/procedure/from-my-manual/drop")
    assert garage.procedures.all() == ()
    assert client.get(str(judged.url)).status_code == 200, "an attempt is read for good"
    assert "from-my-manual" not in client.get("/known").text
    changed = own.replace(b"least = ", b"least = 0", 1)
    again = {"file": ("mine.toml", changed)}
    refused = client.post("/known/procedure", files=again, data={"keep": "yes"})
    assert refused.status_code == 400
    client.post("/known/procedure", files=sent, data={"keep": "yes"})
    assert [one.name for one in garage.procedures.all()] == ["from-my-manual"]


def test_a_shipped_name_is_not_taken_and_a_name_is_no_path(client: TestClient, own: bytes) -> None:
    shipped = own.replace(b"from-my-manual", PACK.encode(), 1)
    sent = {"file": ("mine.toml", shipped)}
    answer = client.post("/known/procedure", files=sent, data={"keep": "yes"})
    assert (answer.status_code, "comes with the program" in answer.text) == (400, True)
    for name in ("%2e%2e%2fetc", "1", "1.toml"):
        assert client.get(f"/known/procedure/{name}").status_code in {400, 404, 405}


def test_who_did_the_work_and_the_gasket_are_kept(client: TestClient, garage: Garage) -> None:
    car = begin(client, "By whom")
    client.post(f"{car}/done", data={"work": ["clean_plate"], "by": " 7 ", "gasket": "kept"})
    visit = garage.visit(car.removeprefix("/car/"))
    assert visit.numbers("work")[-1].document == {
        "done": ["clean_plate"], "by": "7", "gasket": "kept",
    }  # fmt: skip
    wrong = {"work": ["renew_gasket"], "gasket": "kept"}
    assert client.post(f"{car}/done", data=wrong).status_code == 400
    client.post(f"{car}/done", data={"work": ["renew_gasket"]})
    visit = garage.visit(car.removeprefix("/car/"))
    assert visit.numbers("work")[-1].document["gasket"] == "new"


def test_finding_and_proof_are_taken_along_as_one_file(
    client: TestClient, pair: tuple[Path, Path]
) -> None:
    car = begin(client, "Taken along")
    upload(client, car, pair[0])
    assert client.get(f"{car}/proof/report.html").status_code == 400
    client.post(f"{car}/done", data={"work": ["clean_meter"]})
    upload(client, car, pair[1])
    for name, part in (("finding", "meter low"), ("proof", "Better")):
        answer = client.get(f"{car}/{name}/report.html", headers={"accept-language": "en"})
        assert "attachment" in answer.headers["content-disposition"]
        assert part in answer.text
        assert "<script" not in answer.text


@pytest.mark.parametrize(
    "wrong", [{"seconds": "0"}, {"seconds": "x"}, {"bitrate": "fast"}, {"controller": "zz"}]
)
def test_a_live_recording_is_not_begun_with_nonsense(
    client: TestClient, garage: Garage, wrong: dict[str, str]
) -> None:
    car = begin(client, "Live")
    answer = client.post(f"{car}/record/live", data={"interface": "slcan", **wrong})
    assert answer.status_code == 400
    assert garage.captures == {}


def test_cars_due_before_a_day_are_listed(client: TestClient) -> None:
    assert client.get("/counts?before=2030-01-01").status_code == 200
    assert client.get("/counts?before=").status_code == 200
    assert client.get("/counts?before=soon").status_code == 422
