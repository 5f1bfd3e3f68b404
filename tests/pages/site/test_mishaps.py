"""What a person is told where the disk refuses, our own code fails, or an address is misused."""

import errno
import gzip
import os
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from starlette.datastructures import UploadFile

from bellmouth.book.files import write_whole
from bellmouth.errors import BellmouthError
from bellmouth.pages.site.app import create_app
from bellmouth.pages.site.coach_notes import CoachNotes
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.guard import Settings
from tests.pages.site.conftest import HOST
from tests.pages.site.test_job import begin

BROWSER = {"accept": "text/html"}
DEEP = b"a = " + b"[" * 100_000


@pytest.mark.parametrize(
    ("address", "leads"),
    [
        ("/cars", "/"), ("/practice", "/"), ("/settings", "/"), ("/known/procedure", "/known"),
        ("/care/import", "/care"), ("/files/check", "/files"), ("/survey/files", "/survey"),
        ("/families/learn", "/families"), ("{car}/note", "{car}/record"),
        ("{car}/record/file", "{car}/record"), ("{car}/finding/result", "{car}/finding"),
        ("{car}/learning/x/judge", "{car}/learning/x"),
    ],
)  # fmt: skip
def test_looking_at_a_forms_address_leads_to_its_page(
    client: TestClient, address: str, leads: str
) -> None:
    """As a reload does, or the choice of a language on a page that refused a form."""
    car = begin(client)
    for way in (client.get, client.head):
        answer = way(address.format(car=car), headers=BROWSER, follow_redirects=False)
        assert answer.status_code == 303, (address, answer.text)
        assert answer.headers["location"] == leads.format(car=car)


def test_a_language_is_chosen_on_a_refusal(client: TestClient) -> None:
    refused = client.post("/cars", data={"name": "a", "displacement_l": "x", "metering": "airflow"})
    assert refused.status_code == 400
    chosen = client.post(
        "/settings", data={"language": "de", "units": "metric"},
        headers={"referer": f"http://{HOST}/cars?once=abc"},
    )  # fmt: skip
    assert chosen.status_code == 200
    assert "Welches Auto?" in chosen.text


def test_a_language_that_is_chosen_takes_nothing_away(client: TestClient) -> None:
    """What was ticked for a card, or a code to pair with, stands behind the question mark."""
    car = begin(client)
    for asked in (f"{car}/work?work=renew_gasket&torque=8+N+m", "/pair?code=abc"):
        chosen = client.post(
            "/settings", data={"language": "de", "units": "metric"},
            headers={"referer": f"http://{HOST}{asked}"}, follow_redirects=False,
        )  # fmt: skip
        assert chosen.headers["location"] == asked
    # But not a quantity, which would be another one in other units.
    chosen = client.post(
        "/settings", data={"language": "de", "units": "us"}, follow_redirects=False,
        headers={"referer": f"http://{HOST}{car}/book?level=12&family=none"},
    )  # fmt: skip
    assert chosen.headers["location"] == f"{car}/book?family=none"


@pytest.mark.parametrize("content", [b"xxx", b"--abc\r\n\r\n", b""])
def test_what_is_no_form_is_one_sentence(client: TestClient, content: bytes) -> None:
    car = begin(client)
    answer = client.post(
        f"{car}/record/file", content=content,
        headers={"content-type": "multipart/form-data; boundary=abc"},
    )  # fmt: skip
    assert answer.status_code in {400, 422}
    assert "That did not work" in answer.text


@pytest.fixture
def failing(garage: Garage) -> TestClient:
    """A page on which one address fails as it is told."""
    app = create_app(garage, Settings(frozenset({HOST})))

    def fail(number: int) -> None:
        raise OSError(number, os.strerror(number)) if number else KeyError("ours")

    app.add_api_route("/fails/{number}", fail)
    app.add_api_route("/api/fails/{number}", fail)
    return TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False)


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        (errno.ENOSPC, "The disk is full"), (errno.EDQUOT, "The disk is full"),
        (errno.EROFS, "may not write in its folder"), (errno.EACCES, "may not write"),
        (errno.EIO, "Check it"), (errno.EMFILE, "too many files"),
    ],
)  # fmt: skip
def test_what_the_disk_refuses_is_one_sentence(
    failing: TestClient, number: int, sentence: str
) -> None:
    answer = failing.get(f"/fails/{number}")
    assert answer.status_code == 507
    assert sentence in answer.text
    assert "content-security-policy" in answer.headers
    assert sentence in failing.get(f"/api/fails/{number}").json()["error"]
    german = failing.get(f"/fails/{number}", headers={"accept-language": "de"})
    assert sentence not in german.text


@pytest.mark.parametrize("number", [0, errno.ENOTDIR])
def test_a_fault_of_ours_is_as_guarded_as_any_page(failing: TestClient, number: int) -> None:
    answer = failing.get(f"/fails/{number}")
    assert answer.status_code == 500
    assert "Something broke here" in answer.text
    for name in ("content-security-policy", "x-content-type-options", "referrer-policy"):
        assert name in answer.headers
    assert "Something broke" in failing.get(f"/api/fails/{number}").json()["error"]


def test_files_that_are_nested_without_end_are_one_sentence(client: TestClient) -> None:
    car = begin(client)
    csv = b"time [s],engine_speed [rpm]\n0,700\n1,700\n"
    for path, data, files in (
        (f"{car}/facts/file", {}, {"file": ("a.toml", DEEP)}),
        ("/families/file", {}, {"file": ("a.toml", DEEP)}),
        ("/known/procedure", {}, {"file": ("a.toml", DEEP)}),
        ("/rules", {"car": car.split("/")[2]}, {"file": ("a.toml", DEEP)}),
        (f"{car}/record/file", {}, {"file": ("a.csv", csv), "mapping": ("m.toml", DEEP)}),
        (f"{car}/learning/pedal-released-position/judge", {"marks": "[" * 100_000},
         {"file": ("a.csv", csv)}),
    ):  # fmt: skip
        answer = client.post(path, data=data, files=files)
        assert answer.status_code == 400, path
        assert "That did not work" in answer.text
        assert "/tmp" not in answer.text  # noqa: S108 - where the server put it is its own affair


def test_a_recording_that_nobody_can_wait_for_is_refused(client: TestClient) -> None:
    car = begin(client)
    rows = "".join(f"{second},700\n" for second in range(500_001))
    file = {"file": ("a.csv", f"time [s],engine_speed [rpm]\n{rows}".encode())}
    packed = {"file": ("a.csv.gz", gzip.compress(file["file"][1]))}
    for where in (f"{car}/record/file", "/files/check"):
        answer = client.post(where, files=packed)
        assert answer.status_code == 400
        assert "500001 readings of one parameter" in answer.text


def test_a_file_is_put_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    there = tmp_path / "a.toml"
    write_whole(there, b"old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(there, b"new")
    assert there.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [there]


def test_one_damaged_file_takes_no_page_with_it(client: TestClient, garage: Garage) -> None:
    car = begin(client)
    for shelf in ("procedures", "families"):
        (garage.folder / shelf).mkdir()
        (garage.folder / shelf / "1.toml").write_bytes(b"\xff\0 half a fi")
    for path in ("/known", "/families", f"{car}/learning", "/"):
        assert client.get(path).status_code == 200, path
    missing = client.get(f"{car}/learning/no-such")
    assert missing.status_code == 400
    assert "There is no such procedure" in missing.text


def test_a_practice_car_whose_notes_are_damaged_is_one_sentence(garage: Garage) -> None:
    garage._practice_file("a").write_text("{")
    with pytest.raises(BellmouthError, match="Take another one"):
        garage.practice("a")


def test_a_full_disk_ends_no_attempt_and_hides_no_car(
    client: TestClient, garage: Garage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The note of an attempt whose server was killed is taken into the book when there is room."""
    car = begin(client)
    key = car.removeprefix("/car/")
    name = garage._practice_file(key).stem
    CoachNotes(garage.folder).begin(name, "pedal-released-position", "ab" * 16)
    note = garage.folder / f"{name}.coach"
    os.utime(note, (1.0, 1.0))

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(garage.book, "add", full)
        patched.setattr(Path, "touch", full)
        assert client.get(f"{car}/learning").status_code == 200
        garage.attended(key)
    assert "void" in client.get(f"{car}/learning").text
    assert [one.kind for one in garage.visit(key).entries].count("attempt") == 1


def test_a_stale_page_stops_no_engine_under_a_capture(
    client: TestClient, garage: Garage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two tabs: one records, the other still shows the button that begins a recording."""
    car = str(client.post("/practice", data={"fault": "healthy", "seed": "3"}).url.path)
    key = car.split("/")[2]
    practice = garage.practice(key)
    assert practice is not None
    assert client.post(f"{car}/live").status_code == 200
    monkeypatch.setattr(practice, "hand_over", lambda: pytest.fail("the seat was taken"))
    again = client.post(f"{car}/live")
    assert again.status_code == 400
    assert "This car is being recorded. End that capture first." in again.text


def test_a_form_that_finds_no_room_while_it_comes_is_told_of_the_disk(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    car = begin(client)

    async def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(UploadFile, "write", full)
    answer = client.post(f"{car}/record/file", files={"file": ("a.csv", b"x" * 100)})
    assert answer.status_code == 507
    assert "The disk is full" in answer.text
