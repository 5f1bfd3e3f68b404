"""A Parquet file whose pages are not as its directory has them is refused before it is read."""

import io
import re
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording import read_recording
from bellmouth.recording.parquet_file import DamagedFileError, table_in
from bellmouth.recording.parquet_pages import _Thrift, pages_fit


def _table() -> pl.DataFrame:
    rows = 300
    return pl.DataFrame(
        {
            "time [s]": [0.5 * row for row in range(rows)],
            "engine_speed [rpm]": [700.0 + row % 7 if row % 3 else None for row in range(rows)],
            "seen": [row % 2 == 0 for row in range(rows)],
            "told": [f"{row % 5}" for row in range(rows)],
            "several": [[row, 1] for row in range(rows)],
            "nothing": pl.Series([None] * rows, dtype=pl.Float64),
        }
    )


def _written(table: pl.DataFrame, **how: object) -> bytes:
    buffer = io.BytesIO()
    table.write_parquet(buffer, **how)  # type: ignore[arg-type]
    return buffer.getvalue()


@pytest.mark.parametrize("compression", ["uncompressed", "snappy", "gzip", "lz4", "zstd"])
@pytest.mark.parametrize("rows", [None, 40])
def test_whole_files_of_every_kind_fit(compression: str, rows: int | None) -> None:
    raw = _written(_table(), compression=compression, row_group_size=rows, data_page_size=500)
    assert pages_fit(raw)
    assert table_in(raw).equals(_table())


@pytest.mark.parametrize("table", [pl.DataFrame({"a": [1.0]}), pl.DataFrame({"a": []})])
def test_next_to_nothing_fits(table: pl.DataFrame) -> None:
    assert pages_fit(_written(table))


#: Where the first page's header has its sizes, packed and not, and its count of values: each was
#: seen to end in a panic of polars 2.1, or the last in a request for two million terabytes.
_UNPACKED, _PACKED, _COUNT = 7, 10, 14


@pytest.mark.parametrize(
    ("place", "mask"), [(_PACKED, 0x20), (_PACKED, 0x01), (_UNPACKED, 0x01), (_COUNT, 0x01)]
)
def test_a_page_that_says_too_much_is_one_sentence(tmp_path: Path, place: int, mask: int) -> None:
    raw = bytearray(_written(_table().select(pl.nth(0, 1)), compression="uncompressed"))
    assert raw[4:7] == b"\x15\x00\x15"
    assert raw[12:14] == b"\x2c\x15"
    raw[place] ^= mask
    assert not pages_fit(bytes(raw))
    path = tmp_path / "idle.parquet"
    path.write_bytes(raw)
    with pytest.raises(RecordingError, match=r"idle.parquet: a Parquet file that is damaged"):
        read_recording(path)


@pytest.mark.parametrize(
    "raw", [b"", b"PAR1", b"PAR1PAR1", b"PAR1\xff\xff\xff\x7fPAR1", b"PAR1\x19\xf0\0\0\0PAR1"]
)
def test_what_is_no_file_at_all_does_not_fit(raw: bytes) -> None:
    assert not pages_fit(raw)


@pytest.mark.parametrize("place", [5, 17, 19, 21])
def test_a_page_of_a_kind_that_nobody_writes_is_refused(place: int) -> None:
    """Its kind, and the ways in which values and levels are written: numbers of a list."""
    raw = bytearray(_written(_table().select(pl.nth(0, 1)), compression="uncompressed"))
    assert raw[place] in (0, 6)
    raw[place] ^= 0x40
    assert not pages_fit(bytes(raw))


_READS = """
import os, sys, threading
from bellmouth.recording.parquet_file import DamagedFileError, table_in
raw = open(sys.argv[1], "rb").read()
def read():
    try:
        table_in(raw)
    except DamagedFileError as error:
        print(error)
read()
os.write(2, b"said afterwards;")
if sys.argv[2:]:
    os.close(2)
    read()
"""


def _panicking() -> bytes:
    raw = bytearray(_written(_table().select("engine_speed [rpm]"), compression="uncompressed"))
    # How many bytes tell which values are there: what a page begins with, behind its header.
    page = _Thrift(bytes(raw), 4, len(raw))
    page.table()
    raw[page.at] ^= 0x40
    assert pages_fit(bytes(raw))
    return bytes(raw)


def test_a_panic_is_not_printed_beside_its_sentence(tmp_path: Path) -> None:
    (path := tmp_path / "odd.parquet").write_bytes(_panicking())
    line = [sys.executable, "-c", _READS, str(path)]
    ran = subprocess.run(line, capture_output=True, text=True, check=True)
    assert ran.stdout.strip(), "it did panic"
    assert ran.stderr == "said afterwards;"
    closed = subprocess.run([*line, "closed"], capture_output=True, text=True, check=True)
    assert len(closed.stdout.splitlines()) == 2


def test_any_changed_byte_of_the_directory_is_a_table_or_damage() -> None:
    whole = _written(_table().select(pl.nth(0, 1)))
    for place in range(len(whole) - int.from_bytes(whole[-8:-4], "little") - 8, len(whole), 3):
        raw = bytearray(whole)
        raw[place] ^= 0x81
        try:
            table_in(bytes(raw))
        except DamagedFileError:
            continue


_READS_IN_A_THREAD = """
import sys, threading
from bellmouth.recording.parquet_file import DamagedFileError, reads_alone, table_in
def read():
    try:
        table_in(open(sys.argv[1], "rb").read())
    except DamagedFileError as error:
        print(error)
if sys.argv[2:]:
    reads_alone()
thread = threading.Thread(target=read)
thread.start()
thread.join()
"""


def test_a_worker_that_reads_alone_prints_no_panic_either(tmp_path: Path) -> None:
    """A survey's workers read in a thread of theirs, onto the terminal of whoever began it."""
    (path := tmp_path / "odd.parquet").write_bytes(_panicking())
    line = [sys.executable, "-c", _READS_IN_A_THREAD, str(path)]
    server = subprocess.run(line, capture_output=True, text=True, check=True)
    assert "panicked" in server.stderr, "a server's log keeps it"
    worker = subprocess.run([*line, "alone"], capture_output=True, text=True, check=True)
    said, told = (re.sub(r"Id\(\d+\)", "Id", one.stdout) for one in (worker, server))
    assert said == told != ""  # but for the number of the thread in it
    assert worker.stderr == ""
