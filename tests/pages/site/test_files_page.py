"""Recordings as files: checked, converted, read by a mapping; and how good one of the book is."""

import io
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from bellmouth.pages.site.garage import Garage
from bellmouth.practice.polling import write_csv
from bellmouth.recording import read_recording
from tests.finding.worked import meter_reads_low
from tests.pages.site.test_job import begin, upload

MAPPING = b'[columns]\n"Drehzahl" = "engine_speed [rpm]"\n'


@pytest.fixture
def good(tmp_path: Path) -> Path:
    path = tmp_path / "before.csv"
    write_csv(meter_reads_low(path.name), path)
    return path


def foreign(path: Path) -> bytes:
    return path.read_bytes().replace(b"engine_speed [rpm]", b"Drehzahl", 1)


def test_a_file_is_checked_and_not_kept(client: TestClient, garage: Garage, good: Path) -> None:
    sent = {"file": ("<my> file.csv", good.read_bytes())}
    said = client.post("/files/check", files=sent).text
    for part in ("It can be used.", "&lt;my&gt; file.csv", "Steady stretches", "engine speed"):
        assert part in said, part
    bad = {"file": ("a.csv", b"time [s],engine_speed [rpm]\n0,700\n1,701\n")}
    assert "It cannot be used." in client.post("/files/check", files=bad).text
    assert garage.book.cars(limit=5) == ()


@pytest.mark.parametrize("to", ["csv", "parquet", "mf4"])
def test_a_file_is_converted_to_every_format(
    client: TestClient, good: Path, tmp_path: Path, to: str
) -> None:
    answer = client.post(
        "/files/convert", data={"to": to}, files={"file": ("a.csv", good.read_bytes())}
    )
    assert f"recording.{to}" in answer.headers["content-disposition"]
    (there := tmp_path / f"back.{to}").write_bytes(answer.content)
    first, back = read_recording(good), read_recording(there)
    assert set(back.series) == set(first.series)
    assert back.series["engine_speed"].value.size == first.series["engine_speed"].value.size


def test_columns_named_otherwise_are_read_by_a_mapping(
    client: TestClient, garage: Garage, good: Path
) -> None:
    car = begin(client, "Mapped")
    file = ("a.csv", foreign(good))
    empty = ("", b"")
    without = client.post(f"{car}/record/file", files={"file": file, "mapping": empty})
    assert without.status_code == 400
    assert "say in a mapping file which column it is" in without.text
    assert garage.visit(car.removeprefix("/car/")).numbers("recording") == []
    with_it = client.post(
        f"{car}/record/file", files={"file": file, "mapping": ("m.toml", MAPPING)}
    )
    assert "meter low" in with_it.text
    wrong = client.post(
        "/files/check", files={"file": file, "mapping": ("m.toml", b"[columns]\nx = 3\n")}
    )
    assert wrong.status_code == 400


@pytest.mark.parametrize("told", [False, True])
def test_that_loads_were_off_is_told_with_the_file(
    client: TestClient, garage: Garage, good: Path, told: bool
) -> None:
    car = begin(client, "Loads")
    sent = client.post(
        f"{car}/record/file",
        files={"file": ("a.csv", good.read_bytes())},
        data={"loads_off": "yes"} if told else {},
    )
    assert ("Taken as told: every load was off at idle" in sent.text) is told
    (number,) = garage.visit(car.removeprefix("/car/")).numbers("recording")
    assert garage.book.recording("Loads", number.number).loads_off is told


@pytest.mark.parametrize("address", ["zz", "100", "-1", "1 0"])
def test_no_address_is_one_sentence(client: TestClient, good: Path, address: str) -> None:
    sent = {"file": ("a.csv", io.BytesIO(good.read_bytes()))}
    answer = client.post("/files/check", files=sent, data={"controller": address})
    assert (answer.status_code, "two hexadecimal digits" in answer.text) == (400, True)


def test_a_recording_of_the_book_says_how_good_it_is(client: TestClient, good: Path) -> None:
    car = begin(client, "Looked at")
    upload(client, car, good)
    book = client.get(f"{car}/book").text
    assert f'href="{car}/recording/3"' in book
    said = client.get(f"{car}/recording/3").text
    assert "It can be used." in said
    assert f'href="{car}/recording/3.mf4"' in said
    assert client.get(f"{car}/recording/1").status_code == 400
    assert client.get(f"{car}/recording/99").status_code == 400


def test_readiness_is_told_from_a_recording_by_a_table_of_ones_own(
    client: TestClient, garage: Garage
) -> None:
    car = begin(client, "Monitors")
    rows = "".join(f"{n},700,{0x00076504}\n" for n in range(20))
    csv = f"time [s],engine_speed [rpm],monitor_status [bits]\n{rows}".encode()
    client.post(f"{car}/record/file", files={"file": ("a.csv", csv)})
    first = client.get(f"{car}/recording/3").text
    assert "Ready for inspection?" in first
    assert "holds no trouble codes" in first
    key = car.removeprefix("/car/")
    lenient = b'place = "<Here>"\nmost_incomplete = 9\nlocal_law = "Ask."\n'
    kept = client.post("/rules", data={"car": key}, files={"file": ("r.toml", lenient)})
    assert "&lt;Here&gt;" in kept.text, kept.text
    assert client.get(f"{car}/recording/3").text != first
    wrong = client.post("/rules", data={"car": key}, files={"file": ("r.toml", b"law = 3\n")})
    assert wrong.status_code == 400
    assert garage.rules_file is not None
    client.post("/rules", data={"car": key}, files={"none": ("", b"")})
    assert garage.rules_file is None
    assert client.get(f"{car}/recording/3").text == first


@pytest.mark.parametrize(
    "content",
    [b"", b"\x00" * 64, b"\xff\xfe\x00", b"PAR1", b"\x1f\x8b", b"[columns\n", b"a = 1\n" * 9000],
    ids=["empty", "zeros", "no text", "cut", "no gzip", "no table", "long"],
)
@pytest.mark.parametrize("name", ["a.csv", "a.toml", "../a.toml", "a.exe", "\u202ea.csv", "a"])
def test_no_file_breaks_a_form(client: TestClient, content: bytes, name: str) -> None:
    car = begin(client, "Files of any kind")
    key = car.removeprefix("/car/")
    forms: tuple[tuple[str, dict[str, str]], ...] = (
        ("/files/check", {}), ("/files/convert", {"to": "csv"}), ("/rules", {"car": key}),
        (f"{car}/facts/file", {}), ("/known/procedure", {"keep": "yes"}), ("/care/import", {}),
        (f"{car}/learning/idle-air-learning-by-pedal/judge", {}),
    )  # fmt: skip
    for path, data in forms:
        answer = client.post(path, files={"file": (name, content)}, data=data)
        # An empty table of rules is one: what it leaves out is as packaged.
        fine = {200} if path == "/rules" and not content and name.endswith(".toml") else set()
        assert answer.status_code in {400, 413, 422, *fine}, (path, answer.text)
        assert "Traceback" not in answer.text
    good = ("a.csv", b"time [s],engine_speed [rpm]\n0,700\n1,701\n")
    answer = client.post("/files/check", files={"file": good, "mapping": (name, content)})
    assert answer.status_code in {200, 400}, answer.text


def test_a_huge_file_is_refused_in_a_sentence(client: TestClient) -> None:
    huge = {"file": ("a.csv", b"0,700\n" * 500_000)}
    for path in ("/files/check", "/files/convert", "/rules"):
        answer = client.post(path, files=huge, headers={"accept": "text/html"})
        assert (answer.status_code, "MB" in answer.text) == (413, True)
