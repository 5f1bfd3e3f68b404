"""A form that is sent twice is done once: a second tap, or back and the same again."""

import re
import threading
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
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


@pytest.mark.parametrize("body", [b"", b"x" * (1 << 21)])
def test_an_empty_and_a_long_form_are_answered(client: TestClient, body: bytes) -> None:
    answer = client.post(
        "/cars?once=a", content=body,
        headers={"content-type": "application/x-www-form-urlencoded"},
    )  # fmt: skip
    assert answer.status_code in {413, 422}
    assert "That did not work" in answer.text or "Give a shorter" in answer.text
