"""Names with any character, of cars and of files: kept as they are, harmless wherever shown."""

import re
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from markupsafe import escape

from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from tests.finding.worked import meter_reads_low

NAMES = [
    'Bob\'s "red" <script>alert(1)</script> & co',
    "\u202eגולף\u202c 1.6 \u200f",
    "🚗💨 \U0001f3f4\u200d\u2620\ufe0f",
    "../../etc/passwd",
    "C:\\cars\\..\\7",
    "a/b?c=d#e%00%2f",
    "{{ 7 * 7 }} {% raw %}",
    "Ünïcode\u0301 ẞ",
    ".",
    "--help",
    "  two  spaces ",
    "a line\nand\ta tab",
]
REFUSED = ["", "   ", "\0", "a\0b", "a\x07b", "a" * 300, "\u200b", "\u202e \u2060", "a" * 5000]


def begin(client: TestClient, name: str) -> "tuple[int, str, str]":
    data = {"name": name, "displacement_l": "2.0", "metering": "airflow"}
    body = "&".join(f"{key}={_quoted(value)}" for key, value in data.items())
    answer = client.post(
        "/cars", content=body, follow_redirects=False,
        headers={"content-type": "application/x-www-form-urlencoded"},
    )  # fmt: skip
    return answer.status_code, answer.headers.get("location", ""), answer.text


def _quoted(text: str) -> str:
    return "".join(f"%{byte:02X}" for byte in text.encode("utf-8", "surrogatepass"))


@pytest.mark.parametrize("name", NAMES)
def test_a_car_may_be_called_anything(client: TestClient, garage: Garage, name: str) -> None:
    status, location, text = begin(client, name)
    assert status == 303, text
    car = location.removesuffix("/record")
    assert re.fullmatch(r"/car/[\w-]+", car)
    for path in ("/", location, f"{car}/learning", f"{car}/book"):
        answer = client.get(path)
        assert answer.status_code == 200, (path, answer.text)
        assert "<script>alert" not in answer.text
        assert f"<bdi>{escape(' '.join(name.split()))}</bdi>" in answer.text
    assert garage.left(car.removeprefix("/car/")) == []


@pytest.mark.parametrize("name", REFUSED)
def test_what_no_name_can_be_is_one_sentence(client: TestClient, name: str) -> None:
    status, _, text = begin(client, name)
    assert status in {400, 422}
    assert "That did not work" in text
    assert len(re.sub(r"<[^>]+>", "", text.split("<main")[1])) < 600
    assert "Traceback" not in text


@pytest.mark.parametrize("name", [*NAMES, "a\0b", "x" * 300])
def test_a_file_may_be_called_anything(
    client: TestClient, garage: Garage, tmp_path: Path, name: str
) -> None:
    _, location, _ = begin(client, "Files")
    write_csv(meter_reads_low("a.csv"), tmp_path / "a.csv")
    before = {one for one in tmp_path.rglob("*") if "book" not in one.parts}
    answer = client.post(
        f"{location}/file", files={"file": (f"{name}.csv", (tmp_path / "a.csv").read_bytes())}
    )
    assert answer.status_code == 200, answer.text
    assert "meter low" in answer.text
    assert {one for one in tmp_path.rglob("*") if "book" not in one.parts} == before
    assert [one.kind for one in garage.book.history("Files").entries].count("recording") == 1


def test_a_car_that_was_refused_is_not_in_the_book(client: TestClient, garage: Garage) -> None:
    sent = {"name": "Once", "displacement_l": "2.0", "metering": "airflow", "distance": "far"}
    assert client.post("/cars", data=sent).status_code == 400
    assert not garage.book.has("Once")
    assert client.post("/cars", data={**sent, "distance": "84000"}).status_code == 200


@pytest.mark.parametrize("key", ["L2V0Yy9wYXNzd2Q", "AAAA", "%00", "A" * 4000])
def test_a_car_that_is_not_there_is_one_sentence(client: TestClient, key: str) -> None:
    answer = client.get(f"/car/{key}/book")
    assert answer.status_code == 400
    assert "names no car" in answer.text
