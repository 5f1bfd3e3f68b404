"""An entry of the book on a page of its own: as data, and corrected by a new one in its place."""

import io
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from bellmouth.book.entries import Entry
from bellmouth.pages.site import uploads, view_keeping
from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from tests.finding.worked import healthy, meter_reads_low
from tests.pages.site.test_job import begin, upload

PROCEDURE = "idle-air-learning-by-pedal"


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    for one in (meter_reads_low("before.csv"), healthy("after.csv")):
        write_csv(one, tmp_path / one.source)
    return tmp_path / "before.csv", tmp_path / "after.csv"


@pytest.fixture
def car(client: TestClient, pair: tuple[Path, Path]) -> str:
    found = begin(client, "Corrected")
    upload(client, found, pair[0])
    client.post(f"{found}/done", data={"work": ["clean_plate"], "by": "7"})
    upload(client, found, pair[1])
    client.get(f"{found}/proof")
    client.post(f"{found}/note", data={"text": "left front"})
    return found


def picture(wide: int = 40) -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (wide, 20), "#884422").save(made, "PNG")
    return made.getvalue()


def of(garage: Garage, car: str, kind: str) -> list[Entry]:
    return garage.visit(car.removeprefix("/car/")).everywhere(kind)


def there(garage: Garage, car: str, kind: str, place: int = -1) -> str:
    return f"{car}/entry/{of(garage, car, kind)[place].number}"


def test_every_entry_has_a_page_and_is_data(client: TestClient, garage: Garage, car: str) -> None:
    book = client.get(f"{car}/book").text
    for one in garage.visit(car.removeprefix("/car/")).entries:
        assert f"{car}/entry/{one.number}" in book
        page = client.get(f"{car}/entry/{one.number}")
        assert page.status_code == 200, (one.kind, page.text)
        told = client.get(f"{car}/entry/{one.number}.json").json()
        assert (told["kind"], told["document"]) == (one.kind, dict(one.document))
    assert client.get(f"{car}/entry/99").status_code == 400


def test_a_note_a_photo_and_work_are_put_right(
    client: TestClient, garage: Garage, car: str
) -> None:
    old = there(garage, car, "note")
    page = client.post(old, data={"text": "left rear"})
    assert "left rear" in page.text
    assert [one.document["text"] for one in of(garage, car, "note")] == ["left rear"]
    assert "stands in its place" in client.get(old).text
    again = client.post(old, data={"text": "twice"})
    assert (again.status_code, "was corrected already" in again.text) == (400, True)
    client.post(f"{car}/photo", files={"file": ("a.png", picture())})
    bare = there(garage, car, "photo")
    assert "photo without a description" in client.get(f"{car}/book").text
    client.post(bare, data={"text": "the bore"})
    assert of(garage, car, "photo")[-1].document["text"] == "the bore"
    assert client.get(f"{car}/photo/{of(garage, car, 'photo')[-1].number}").status_code == 200
    client.post(
        there(garage, car, "photo"), data={"text": "x"}, files={"file": ("b.png", picture(30))}
    )
    assert of(garage, car, "photo")[-1].document["width"] == 30
    work = there(garage, car, "work")
    client.post(work, data={"work": ["clean_plate", "renew_gasket"], "by": "8"})
    assert of(garage, car, "work")[-1].document == {
        "done": ["clean_plate", "renew_gasket"], "by": "8", "gasket": "new",
    }  # fmt: skip


def test_a_correction_is_no_way_round_what_work_may_be(
    client: TestClient, garage: Garage, car: str
) -> None:
    work, before = there(garage, car, "work"), of(garage, car, "work")
    for told, sentence in (
        ([], "Tick what was done, or that nothing was."),
        (["nothing", "reseal"], "untick one of the two"),
    ):
        answer = client.post(work, data={"work": told})
        assert (answer.status_code, sentence in answer.text) == (400, True)
    assert of(garage, car, "work") == before
    nothing = '<input type="checkbox" name="work" value="nothing"'
    assert f"{nothing}>" in client.get(work).text
    client.post(work, data={"work": ["nothing"]})
    assert of(garage, car, "work")[-1].document == {"done": ["nothing"]}
    assert f"{nothing} checked>" in client.get(there(garage, car, "work")).text


def test_a_correction_is_no_way_round_what_an_upload_may_be(
    client: TestClient, garage: Garage, car: str, pair: tuple[Path, Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    client.post(f"{car}/photo", files={"file": ("a.png", picture())})
    monkeypatch.setattr(uploads, "_MOST_READINGS", 10)
    monkeypatch.setattr(view_keeping, "_MOST_PICTURE_BYTES", 10)
    recordings, photos = of(garage, car, "recording"), of(garage, car, "photo")
    with pair[1].open("rb") as file:
        long = client.post(there(garage, car, "recording"), files={"file": ("b.csv", file)})
    large = client.post(there(garage, car, "photo"), files={"file": ("b.png", picture())})
    assert (long.status_code, "10 at most" in long.text) == (400, True)
    assert (large.status_code, "Send a smaller one" in large.text) == (400, True)
    assert of(garage, car, "recording") == recordings
    assert of(garage, car, "photo") == photos


def test_a_finding_stays_with_the_recording_that_it_is_of_when_that_is_corrected(
    client: TestClient, garage: Garage, car: str
) -> None:
    second = of(garage, car, "recording")[1].number
    client.post(f"{car}/finding/of", data={"recording": second})
    client.post(f"{car}/entry/{second}", data={"by": "Ann"})
    mine = of(garage, car, "recording")[1]
    assert mine.corrects == second
    assert of(garage, car, "finding")[-1].document["recording"] == mine.number


def test_work_that_was_corrected_still_stands_between_its_recordings(
    client: TestClient, garage: Garage, car: str
) -> None:
    client.post(there(garage, car, "work"), data={"work": ["clean_meter"]})
    page = client.get(f"{car}/proof").text
    assert "clean airflow meter" in page
    assert of(garage, car, "proof")[-1].document["done"] == ["clean_meter"]


def test_a_recording_is_put_in_the_place_of_a_wrong_one(
    client: TestClient, garage: Garage, car: str, pair: tuple[Path, Path], tmp_path: Path
) -> None:
    first = of(garage, car, "recording")[0].number
    client.post(f"{car}/good", data={"recording": first, "is_good": "yes"})
    client.post(f"{car}/entry/{first}", data={"by": "Ann"})
    mine = of(garage, car, "recording")[0]
    assert (mine.document["by"], mine.corrects) == ("Ann", first)
    assert f"Recording {mine.number} is the car when it was good." in client.get(f"{car}/book").text
    write_csv(healthy("right.csv", 9), tmp_path / "right.csv")
    found = of(garage, car, "finding")[-1].number
    with (tmp_path / "right.csv").open("rb") as file:
        client.post(f"{car}/entry/{mine.number}", files={"file": ("right.csv", file)})
    assert of(garage, car, "recording")[0].document["source"] == "recording.csv"
    assert of(garage, car, "finding")[-1].number > found, "judged again"
    assert "nothing is wrong with the air path" in client.get(f"{car}/finding").text
    assert "clean plate and bore" in client.get(f"{car}/proof").text, "the work is still between"
    wrong = client.post(
        f"{car}/entry/{of(garage, car, 'recording')[0].number}", files={"file": ("a.exe", b"MZ")}
    )
    assert wrong.status_code == 400


def test_that_loads_were_off_stays_and_is_put_right_with_a_recording(
    client: TestClient, garage: Garage, pair: tuple[Path, Path]
) -> None:
    car = begin(client, "Loads")
    ticked = '<input type="checkbox" name="loads_off" value="yes" checked>'
    sent = {"file": ("before.csv", pair[0].read_bytes())}

    def said() -> bool:
        (one,) = of(garage, car, "recording")
        return garage.book.recording("Loads", one.number).loads_off

    for told in ({"loads_off": "yes", "by": "Ann"}, {}, {"loads_off": "yes"}):
        page = client.post(f"{car}/record/file", files=sent, data=told).text
        assert ("Taken as told: every load was off at idle" in page) is said() is bool(told)
        there_now = client.get(there(garage, car, "recording")).text
        assert (ticked in there_now) is bool(told)
        assert of(garage, car, "recording")[0].document["by"] == "Ann"
    entries = len(garage.visit(car.removeprefix("/car/")).entries)
    client.post(f"{car}/record/file", files=sent, data={"loads_off": "yes"})
    assert len(garage.visit(car.removeprefix("/car/")).entries) == entries, "nothing new in it"
    other = {"file": ("after.csv", pair[1].read_bytes())}
    client.post(there(garage, car, "recording"), files=other, data={"loads_off": "yes"})
    assert said()
    client.post(there(garage, car, "recording"), data={"by": "Ann", "loads_off": "yes"})
    assert said()
    client.post(there(garage, car, "recording"), data={"by": "Ann"})
    assert not said()
    assert "Taken as told: every load" not in client.get(f"{car}/finding").text


def test_the_facts_of_an_earlier_job_are_corrected(
    client: TestClient, garage: Garage, car: str
) -> None:
    client.post(f"{car}/job", data={"distance": "90000"})
    client.post(f"{car}/job", data={"distance": "95000", "comeback": "yes"})
    client.post(there(garage, car, "job", 0), data={"distance": "83000", "complaint": "stalls"})
    first = of(garage, car, "job")[0]
    assert (first.distance_km, first.document["complaint"]) == (83000.0, "stalls")
    last = there(garage, car, "job")
    one = of(garage, car, "job")[0].job
    client.post(last, data={"distance": "95000", "comeback_of": one})
    assert of(garage, car, "job")[-1].document["comeback_of"] == one
    assert client.post(last, data={"comeback_of": "x"}).status_code == 400
    assert client.post(there(garage, car, "job"), data={"distance": "1"}).status_code == 400


def test_finding_and_proof_are_made_again_in_their_place(
    client: TestClient, garage: Garage, car: str
) -> None:
    for kind in ("finding", "proof"):
        old = of(garage, car, kind)[-1]
        client.post(f"{car}/entry/{old.number}")
        assert of(garage, car, kind)[-1].corrects == old.number
    again = garage.book.recompute(garage.visit(car.removeprefix("/car/")).name)
    assert all(one.same for one in again)


def test_whose_attempt_it_was_and_a_card_are_put_right(
    client: TestClient, garage: Garage, car: str
) -> None:
    csv = b"time [s],engine_speed [rpm]\n0.0,700\n1.0,700\n2.0,700\n"
    sent = {"file": ("a.csv", csv)}
    client.post(f"{car}/learning/{PROCEDURE}/judge", files=sent, data={"by": "Ann"})
    assert of(garage, car, "attempt")[-1].document["by"] == "Ann"
    page = client.post(there(garage, car, "attempt"), data={"by": "Bob"})
    assert page.status_code == 200
    assert of(garage, car, "attempt")[-1].document["by"] == "Bob"
    asked = "work=renew_gasket&bolts=4&torque=8+N+m"
    kept = client.post(f"{car}/card", data={"asked": asked})
    assert "/entry/" in str(kept.url)
    assert of(garage, car, "card")[-1].document["torque"] == "8 N m"
    other = client.get(f"{car}/card.json?work=clean_plate").content
    client.post(there(garage, car, "card"), files={"file": ("card.json", other)})
    assert of(garage, car, "card")[-1].document["work_names"] == ["clean_plate"]
    wrong = client.post(there(garage, car, "card"), files={"file": ("card.json", b"[1]")})
    assert wrong.status_code == 400


def test_what_the_page_wrote_itself_is_not_put_right_here(
    client: TestClient, garage: Garage, car: str
) -> None:
    number = of(garage, car, "recording")[0].number
    client.post(f"{car}/good", data={"recording": number, "is_good": "yes"})
    note = there(garage, car, "note")
    assert "Put this in its place" not in client.get(note).text
    assert client.post(note, data={"text": "mine"}).status_code == 400
    assert client.post(f"{car}/entry/1", data={"text": "mine"}).status_code == 400


def test_the_identification_number_stays_masked(client: TestClient, garage: Garage) -> None:
    car = begin(client, "Numbered")
    client.post(f"{car}/facts/name", data={"name": "Numbered", "identification": "WVWZZZ1JZXW1"})
    told = client.get(there(garage, car, "car") + ".json").text
    assert "WVWZZZ1JZXW1" not in told


def test_a_note_of_an_earlier_job_is_kept_there(
    client: TestClient, garage: Garage, car: str
) -> None:
    client.post(f"{car}/job", data={"distance": "90000"})
    first = of(garage, car, "job")[0].job
    client.post(f"{car}/note", data={"text": "forgotten", "job": first})
    kept = [one for one in of(garage, car, "note") if one.document["text"] == "forgotten"]
    assert [one.job for one in kept] == [first]
    assert client.post(f"{car}/note", data={"text": "x", "job": 77}).status_code == 400


def test_a_check_that_disagrees_is_said_wherever_somebody_acts_on_it(
    client: TestClient, garage: Garage, car: str
) -> None:
    first = of(garage, car, "recording")[0].number
    client.post(f"{car}/finding/of", data={"recording": first})
    told = "What was checked again contradicts itself (smoke test): find out why"
    places = (f"{car}/work", f"{car}/card", there(garage, car, "finding"), f"{car}/proof")
    assert not any(told in client.get(place).text for place in places)
    for outcome in ("none", "seen"):
        client.post(f"{car}/finding/result", data={"check": "smoke_test", "outcome": outcome})
    places = (f"{car}/work", f"{car}/card", there(garage, car, "finding"), f"{car}/proof")
    for place in places:
        assert told in client.get(place).text, place
    client.cookies.set("bellmouth_language", "de")
    for place in places:
        assert "widerspricht sich selbst (Rauchtest): klären" in client.get(place).text, place
