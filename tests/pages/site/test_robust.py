"""Bad files, captures left behind, wrong settings, and whatever a fuzzer asks for."""

import asyncio
import gzip
import io
import struct
import zipfile
import zlib
from pathlib import Path

import can
import numpy as np
import polars as pl
import pytest
from asammdf import MDF, Signal
from fastapi import UploadFile
from fastapi.testclient import TestClient
from PIL import Image

from bellmouth.errors import BellmouthError
from bellmouth.pages.site.garage import Garage
from bellmouth.pages.site.growth import MOST_VALUES
from bellmouth.pages.site.uploads import kept_upload
from bellmouth.practice.polling import write_csv
from tests.finding.worked import meter_reads_low
from tests.pages.site.test_job import begin

MARK = "0123456789abcdef"


def put(name: str, data: bytes, folder: Path, most: int = 1 << 20) -> Path:
    return asyncio.run(kept_upload(UploadFile(io.BytesIO(data), filename=name), folder, most=most))


def test_a_small_file_that_unpacks_to_a_large_one_is_refused(tmp_path: Path) -> None:
    bomb = gzip.compress(bytes(8 << 20))
    assert len(bomb) < 10_000
    with pytest.raises(BellmouthError, match="Unpacked, that file is more than 1 MB"):
        put("bomb.csv.gz", bomb, tmp_path)


#: Without the time of its making: a test is called the same in every process.
_CUT = gzip.compress(b"time [s]\n" * 99, mtime=0)[:30]


@pytest.mark.parametrize("data", [b"no gzip", _CUT, b""])
def test_a_damaged_gzip_is_one_sentence(tmp_path: Path, data: bytes) -> None:
    if not data:
        assert put("a.csv.gz", data, tmp_path).stat().st_size == 0
        return
    with pytest.raises(BellmouthError, match="not gzip, or is cut short"):
        put("a.csv.gz", data, tmp_path)


def test_a_parquet_file_of_endless_rows_is_refused(tmp_path: Path) -> None:
    rows = MOST_VALUES + 1
    large = tmp_path / "large.parquet"
    pl.LazyFrame({"a": [0]}).select(pl.repeat(0, rows, dtype=pl.Int8)).sink_parquet(large)
    assert large.stat().st_size < 1 << 20
    with pytest.raises(BellmouthError, match="rows of 1 columns"):
        put("x.parquet", large.read_bytes(), tmp_path)


@pytest.mark.parametrize("name", ["../../x.csv", "/etc/passwd.csv", "a\0b.csv", "Ä" * 300 + ".csv"])
def test_a_name_is_never_a_path(tmp_path: Path, name: str) -> None:
    assert put(name, b"time [s]\n", tmp_path) == tmp_path / "recording.csv"


def test_a_capture_that_a_killed_server_left_is_offered_and_taken(
    client: TestClient, garage: Garage, tmp_path: Path
) -> None:
    car = begin(client)
    key = car.removeprefix("/car/")
    path = garage._free(key)
    # As a killed server leaves it: rows in the journal, no snapshot yet, the last row cut off.
    write_csv(meter_reads_low("left.csv"), tmp_path / "left.csv")
    rows = (tmp_path / "left.csv").read_text("utf-8").splitlines()
    journal = path.with_name(path.name + ".journal")
    journal.write_text("".join(f"{row},\n" for row in rows) + "99.0,7", encoding="utf-8")
    assert "Left from before" in client.get(f"{car}/record").text
    assert garage._free(key) != path, "it is never written over"
    wrong = client.post(f"{car}/record/left", data={"which": "../book.db", "do": "take"})
    assert wrong.status_code == 400
    taken = client.post(f"{car}/record/left", data={"which": path.name, "do": "take"})
    assert "meter low" in taken.text
    assert not journal.exists()
    assert "Left from before" not in client.get(f"{car}/record").text


def test_a_capture_that_goes_between_two_looks_is_not_offered(
    client: TestClient, garage: Garage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is found, and then another server on the same folder takes it, or it ends in order."""
    car = begin(client)
    (tmp_path / "ended.parquet").touch()
    found = [tmp_path / "taken.parquet", tmp_path / "ended.parquet"]
    monkeypatch.setattr(garage, "left", lambda _: found)
    answer = client.get(f"{car}/record")
    assert answer.status_code == 200
    assert "ended.parquet" in answer.text
    assert "taken.parquet" not in answer.text


def test_settings_never_lead_elsewhere(client: TestClient) -> None:
    for referer in (
        "http://evil.example//other.example/x",
        "//evil.example",
        "javascript:x",
        "//[x]y/",
        "http://[",
    ):
        answer = client.post(
            "/settings", data={"language": "xx", "units": "stone"},
            headers={"referer": referer}, follow_redirects=False,
        )  # fmt: skip
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/")
        assert not answer.headers["location"].startswith("//")
    assert client.get("/").text.startswith('<!DOCTYPE html>\n<html lang="en"')


def test_a_browser_is_answered_in_its_language(client: TestClient) -> None:
    text = client.get("/", headers={"accept-language": "fr, de-CH;q=0.8, en;q=0.5"}).text
    assert "Welches Auto?" in text


def test_taps_that_are_nonsense_are_refused(client: TestClient) -> None:
    car = begin(client)
    where = f"{car}/learning/pedal-released-position/attempt"
    for taps in (
        {"phase": "won"},
        {"phase": "done", "taps": [{"means": "key_on", "at_s": -1}]},
        {"phase": "done", "taps": [{"means": "key_on", "at_s": 1e300}]},
        {"phase": "done", "taps": [{"means": "x" * 200, "at_s": 1}]},
    ):
        assert client.post(where, json={"id": MARK, **taps}).status_code == 422
    assert client.post(where, json={"id": "../x", "phase": "done"}).status_code == 422
    unknown = {"id": MARK, "phase": "done", "taps": [{"means": "nothing_like_it", "at_s": 1.0}]}
    answer = client.post(where, json=unknown)
    assert answer.status_code == 400
    assert "means nothing in pedal-released-position" in answer.text


def _blf(path: Path, data: bytes) -> bytes:
    with can.BLFWriter(path) as log:
        for number in range(40):
            log(can.Message(timestamp=1.0 + number, arbitration_id=0x7E8, data=data))
    return path.read_bytes()


def test_a_packed_bus_log_is_measured_before_it_is_read(tmp_path: Path) -> None:
    good = _blf(tmp_path / "good.blf", bytes(8))
    assert put("a.blf", good, tmp_path).is_file()
    inside = zlib.compress(bytes(4 << 20), 9)
    container = struct.pack("<4sHHLLHHLLL", b"LOBJ", 16, 1, 32 + len(inside), 10, 2, 0, 0, 0, 0)
    with pytest.raises(BellmouthError, match="Unpacked, that file is more than 1 MB"):
        put("a.blf", good + container + inside, tmp_path)


def test_a_packed_mdf_is_measured_before_it_is_read(tmp_path: Path) -> None:
    times = np.arange(200_000) * 0.01
    with MDF(version="4.10") as file:
        file.append([Signal(np.zeros(times.size), times, unit="rpm", name="engine_speed")])
        file.save(tmp_path / "packed.mf4", compression=2, overwrite=True)
    packed = (tmp_path / "packed.mf4").read_bytes()
    assert len(packed) < 1 << 20
    assert put("a.mf4", packed, tmp_path, most=8 << 20).is_file()
    with pytest.raises(BellmouthError, match="Unpacked, that file is more than 1 MB"):
        put("a.mf4", packed, tmp_path)
    endless = packed.replace(struct.pack("<Q", times.size), struct.pack("<Q", 1 << 50))
    with pytest.raises(BellmouthError, match=f"{1 << 50} samples"):
        put("a.mf4", endless, tmp_path, most=8 << 20)


def test_a_block_that_stands_in_a_list_many_times_is_counted_as_often(tmp_path: Path) -> None:
    inside = zlib.compress(bytes(100_000))
    block = struct.pack("<4s4xQQ2sBxLQQ", b"##DZ", 48, 0, b"DT", 0, 0, 100_000, len(inside))
    links = [0] + [8] * 50
    listed = struct.pack(f"<4s4xQQ{len(links)}Q", b"##DL", 24 + 8 * len(links), len(links), *links)
    with pytest.raises(BellmouthError, match="Unpacked"):
        put("a.mf4", b"MDF     " + block + inside + listed, tmp_path)


def test_what_a_file_is_called_hides_nothing(tmp_path: Path) -> None:
    bomb = gzip.compress(bytes(8 << 20))
    with pytest.raises(BellmouthError, match="Unpacked, that file is more than 1 MB"):
        put("bomb.csv", bomb, tmp_path)
    with pytest.raises(BellmouthError, match="packed twice"):
        put("bomb.csv.gz", gzip.compress(bomb), tmp_path)


def test_an_archive_that_unpacks_to_more_than_any_car_is_refused(
    client: TestClient, tmp_path: Path
) -> None:
    with zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("manifest.json", bytes(8 << 20))
    content = (tmp_path / "a.zip").read_bytes()
    with pytest.raises(BellmouthError, match="Unpacked, that file is more than 1 MB"):
        asyncio.run(
            kept_upload(
                UploadFile(io.BytesIO(content), filename="a.zip"), tmp_path, (".zip",), 1 << 20
            )
        )
    for junk in (content, content[:50], b"PK\3\4"):
        answer = client.post("/care/import", files={"file": ("a.zip", junk)})
        assert answer.status_code == 400
        assert "nothing was imported" in answer.text


def test_a_picture_of_endless_points_is_refused(client: TestClient) -> None:
    car = begin(client)
    made = io.BytesIO()
    Image.new("1", (9_000, 9_000)).save(made, "PNG")
    assert len(made.getvalue()) < 20_000
    answer = client.post(f"{car}/photo", files={"file": ("a.png", made.getvalue())})
    assert answer.status_code == 400
    assert "more than 64 million points" in answer.text.replace("\u00a0", " ")
