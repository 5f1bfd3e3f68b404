"""A form that is sent twice is done once: a second tap, or back and the same again."""

import asyncio
import random
import re
import threading
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image
from starlette.types import Message

from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.once_body import FormBody, read_body
from bellmouth.practice.polling import write_csv
from tests.finding.worked import meter_reads_low

CAR = {"name": "Once", "displacement_l": "2.0", "metering": "airflow"}


def address(text: str, begins: str) -> str:
    found = re.search(rf'<form method="post" action="({re.escape(begins)}\?once=[^"]+)"', text)
    assert found is not None
    return found[1]


def test_the_same_form_again_leads_where_it_led(client: TestClient, garage: Garage) -> None:
    where = address(client.get("/").text, "/cars")
    first = client.post(where, data=CAR, follow_redirects=False)
    again = client.post(where, data=CAR, follow_redirects=False)
    assert first.status_code == again.status_code == 303
    assert first.headers["location"] == again.headers["location"]
    assert len(garage.book.history("Once").entries) == 2  # the car and its job, once


def test_other_contents_are_another_form(client: TestClient) -> None:
    where = address(client.get("/").text, "/cars")
    client.post(where, data=CAR)
    other = client.post(where, data={**CAR, "name": "Twice"}, follow_redirects=False)
    assert "VHdpY2U" in other.headers["location"]


def test_a_form_that_was_refused_may_be_sent_again(client: TestClient, garage: Garage) -> None:
    where = address(client.get("/").text, "/cars")
    bad = {**CAR, "displacement_l": "big"}
    assert client.post(where, data=bad).status_code == 400
    assert client.post(where, data=bad).status_code == 400
    assert client.post(where, data=CAR, follow_redirects=False).status_code == 303
    assert garage.book.has("Once")


def test_two_taps_at_the_same_time_are_one(client: TestClient, garage: Garage) -> None:
    where = address(client.get("/").text, "/cars")
    seen: list[int] = []

    def tap() -> None:
        seen.append(client.post(where, data=CAR, follow_redirects=False).status_code)

    threads = [threading.Thread(target=tap) for _ in range(6)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert seen == [303] * 6
    assert len(garage.book.history("Once").entries) == 2


def test_what_is_meant_to_be_sent_again_has_no_mark(client: TestClient) -> None:
    text = client.get("/").text
    assert 'action="/settings"' in text


def test_the_same_file_twice_is_one_recording(
    client: TestClient, garage: Garage, tmp_path: Path
) -> None:
    """Else the same recording would stand before and after the work."""
    client.post("/cars", data=CAR)
    write_csv(meter_reads_low("a.csv"), tmp_path / "a.csv")
    for name in ("a.csv", "a.csv", "other name.csv"):
        answer = client.post(
            "/car/T25jZQ/record/file", files={"file": (name, (tmp_path / "a.csv").read_bytes())}
        )
        assert answer.status_code == 200
    kinds = [one.kind for one in garage.book.history("Once").entries]
    assert kinds.count("recording") == 1


def photo(tmp_path: Path, pixels: int = 400) -> bytes:
    there = tmp_path / "leak.png"
    grain = random.Random(1).randbytes(3 * pixels * pixels)  # noqa: S311 - a picture, no secret
    Image.frombytes("RGB", (pixels, pixels), grain).save(there)
    return there.read_bytes()


@pytest.mark.parametrize("pixels", [40, 600])  # in memory, and on the disk
def test_a_photo_sent_twice_by_one_form_is_kept_once(
    client: TestClient, garage: Garage, tmp_path: Path, pixels: int
) -> None:
    """A browser parts the same form by another boundary each time that it is sent."""
    client.post("/cars", data=CAR)
    where = address(client.get("/car/T25jZQ/book").text, "/car/T25jZQ/photo")
    file = {"file": ("leak.png", photo(tmp_path, pixels), "image/png")}
    led = [
        client.post(where, files=file, data={"text": "a crack"}, follow_redirects=False)
        for _ in range(2)
    ]
    assert [one.status_code for one in led] == [303, 303]
    kinds = [one.kind for one in garage.book.history("Once").entries]
    assert kinds.count("photo") == 1
    client.post(where, files=file, data={"text": "another crack"})
    kinds = [one.kind for one in garage.book.history("Once").entries]
    assert kinds.count("photo") == 2, "other words are another form"


def test_an_entry_that_is_corrected_by_two_taps_is_no_mistake(client: TestClient) -> None:
    client.post("/cars", data=CAR)
    client.post("/car/T25jZQ/note", data={"text": "first"})
    page = "/car/T25jZQ/entry/3"
    where = address(client.get(page).text, page)
    led = [
        client.post(
            where, data={"text": "second"}, files={"file": ("", b"")}, follow_redirects=False
        ).status_code
        for _ in range(2)
    ]
    assert led == [303, 303]


@pytest.mark.parametrize("length", [0, 1, 9, 1 << 18, (1 << 18) + 5, 3 << 20])
def test_a_body_is_given_again_as_it_came(length: int) -> None:
    """In whatever pieces, with a boundary across two of what it is looked at in."""
    sent = random.Random(length).randbytes(length)  # noqa: S311 - contents, no secret
    told = []
    for boundary, piece in ((b"abc", 7 + length // 3), (b"longer-one", 1 + length // 5)):
        whole = b"--" + boundary + b"\r\n" + sent + b"\r\n--" + boundary + b"--"
        pieces = [whole[at : at + piece] for at in range(0, len(whole), piece)]
        told.append(asyncio.run(again(whole, pieces, boundary.decode())))
    assert told[0] == told[1] != ""


async def again(whole: bytes, pieces: list[bytes], boundary: str) -> str:
    messages = [
        {"type": "http.request", "body": one, "more_body": place < len(pieces) - 1}
        for place, one in enumerate(pieces)
    ]  # fmt: skip

    async def receive() -> Message:
        return messages.pop(0) if messages else {"type": "http.disconnect"}

    body = await read_body(receive, f"multipart/form-data; boundary={boundary}")
    got = b""
    while (message := await body.receive())["type"] == "http.request":
        got += message["body"]
    assert got == whole
    body.close()
    return body.told


def test_where_the_disk_is_full_what_came_is_given_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that what reads the form meets the same disk and tells."""
    parts = [b"a" * 10, b"b" * 10, b"c" * 10]
    came = list(parts)

    async def receive() -> Message:
        return {"type": "http.request", "body": came.pop(0), "more_body": bool(came)}

    async def tried() -> bytes:
        body = FormBody(receive, "multipart/form-data; boundary=abc")
        monkeypatch.setattr(body, "_kept", Refusing(body._kept))
        await body.read()
        assert body.told == ""
        got, more = b"", True
        while more:
            message = await body.receive()
            got, more = got + message["body"], message["more_body"]
        body.close()
        return got

    assert asyncio.run(tried()) == b"".join(parts)


class Refusing:
    """A file that takes one piece and no more."""

    def __init__(self, file: Any) -> None:
        self._file, self._taken = file, 0

    def write(self, piece: bytes) -> int:
        self._taken += 1
        if self._taken > 1:
            raise OSError(28, "No space left on device")
        return int(self._file.write(piece))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)


@pytest.mark.parametrize("body", [b"", b"x" * (1 << 21)])
def test_an_empty_and_a_long_form_are_answered(client: TestClient, body: bytes) -> None:
    answer = client.post(
        "/cars?once=a", content=body,
        headers={"content-type": "application/x-www-form-urlencoded"},
    )  # fmt: skip
    assert answer.status_code in {413, 422}
    assert "That did not work" in answer.text or "Give a shorter" in answer.text
