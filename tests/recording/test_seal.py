"""The seal on our Parquet files: a changed byte shows, files of others are read as before."""

import io
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from bellmouth.errors import RecordingError
from bellmouth.recording import read_recording
from bellmouth.recording.export import frame, write_recording
from bellmouth.recording.seal import seal_is_broken, sealed
from tests.finding.worked import healthy


@pytest.fixture(scope="module")
def raw() -> bytes:
    return sealed(frame(healthy("x.csv", seed=21)))


def test_a_sealed_file_is_a_parquet_file_like_any_other(raw: bytes) -> None:
    recording = healthy("x.csv", seed=21)
    assert not seal_is_broken(raw)
    assert pl.read_parquet(io.BytesIO(raw)).equals(frame(recording))
    assert sealed(frame(recording)) == raw


def test_any_byte_that_changed_shows(raw: bytes) -> None:
    random = np.random.default_rng(5)
    shown = 0
    for at in random.integers(4, len(raw) - 8, 300):
        changed = bytearray(raw)
        changed[at] ^= 1 << int(random.integers(8))
        shown += seal_is_broken(bytes(changed))
    # The seal's own few letters apart, without which it is none.
    assert shown >= 298


def test_a_recording_with_a_changed_byte_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "idle.parquet"
    write_recording(healthy("x.csv", seed=21), path)
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2] ^= 4
    path.write_bytes(raw)
    with pytest.raises(RecordingError, match=r"^idle\.parquet: bytes have changed since it was"):
        read_recording(path)


def test_files_of_others_are_read_as_before(raw: bytes, tmp_path: Path) -> None:
    table = frame(healthy("x.csv", seed=21))
    plain = io.BytesIO()
    table.write_parquet(plain)
    assert not seal_is_broken(plain.getvalue())
    # Another program keeps what it does not know of the metadata, and writes the rest anew.
    told = pl.read_parquet_metadata(io.BytesIO(raw))["bellmouth"]
    anew = io.BytesIO()
    table.head(500).write_parquet(anew, metadata={"bellmouth": told})
    assert not seal_is_broken(anew.getvalue())
    (tmp_path / "anew.parquet").write_bytes(anew.getvalue())
    assert read_recording(tmp_path / "anew.parquet").series


@pytest.mark.parametrize("junk", [b"", b"PAR1", b"PAR1" + b"\xff" * 8, b"\xff" * 3])
def test_what_is_no_parquet_file_has_no_seal(junk: bytes) -> None:
    assert not seal_is_broken(junk)
