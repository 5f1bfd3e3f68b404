"""A seal on the Parquet files that we write: a digest of every byte, so that damage inside shows.

Parquet as it is usually written checks nothing: a byte that changed on the disk is read as another
reading. The seal stands in the file's own metadata, with the length of the file it belongs to, so
that a file that another program made of ours, metadata and all, is not taken for a damaged one.
"""

import hashlib
import io
import re
from typing import TYPE_CHECKING

from bellmouth.recording.kept_steps import steps_in
from bellmouth.recording.of_car import OfCar

if TYPE_CHECKING:
    import polars as pl

__all__ = [
    "LOADS_OFF",
    "loads_off_in",
    "metadata_of",
    "of_car_in",
    "seal_is_broken",
    "sealed",
    "steps_of",
]

_KEY = "bellmouth"
_NO_LENGTH, _NO_DIGEST = "0" * 12, "0" * 64
_EMPTY = f"{_KEY}-sha256:{_NO_LENGTH}:{_NO_DIGEST}".encode()
_SEAL = re.compile(rb"%s-sha256:([0-9]{12}):([0-9a-f]{64})" % _KEY.encode())
_UNKNOWN = OfCar()
#: What a file's metadata say where loads were off.
LOADS_OFF = f"{_KEY}-loads:off"
_TAIL = 8  # at the end of every Parquet file: the length of its footer, and its name


def sealed(
    table: "pl.DataFrame", of_car: OfCar = _UNKNOWN, *, loads_off: bool = False, steps: str = ""
) -> bytes:
    """A table as a Parquet file with its seal, which car it is of, whether loads were off, and how
    finely its readings are known (`kept_steps.steps_text`)."""
    buffer = io.BytesIO()
    told = metadata_of(of_car, loads_off=loads_off)
    told |= {f"{_KEY}-steps": steps} if steps else {}
    table.write_parquet(buffer, metadata={_KEY: _EMPTY.decode(), **told})
    raw = bytearray(buffer.getbuffer())
    # Compressed data could hold the same letters; the metadata stands behind it.
    at = raw.rindex(_EMPTY)
    length = f"{len(raw):012}".encode()
    first = at + len(_EMPTY) - len(_NO_DIGEST)
    raw[first - len(length) - 1 : first - 1] = length
    raw[first : first + len(_NO_DIGEST)] = _digest(raw, first)
    return bytes(raw)


def metadata_of(of_car: OfCar, *, loads_off: bool = False) -> dict[str, str]:
    """Which car a file is of and that loads were off, as its metadata say it; nothing where it is
    not known."""
    told = {f"{_KEY}-car": text} if (text := of_car.text()) else {}
    return {**told, f"{_KEY}-loads": LOADS_OFF} if loads_off else told


def of_car_in(raw: bytes) -> OfCar:
    """Which car a Parquet file says it is of."""
    return OfCar.found_in(raw[_footer(raw) :].decode("latin-1"))


def loads_off_in(raw: bytes) -> bool:
    """Whether a Parquet file says that loads were off."""
    return LOADS_OFF.encode() in raw[_footer(raw) :]


def steps_of(raw: bytes) -> dict[str, float]:
    """How finely a Parquet file says that its readings are known."""
    return steps_in(raw[_footer(raw) :].decode("latin-1"))


def _footer(raw: bytes) -> int:
    """Where the footer begins, as the end of the file tells it."""
    footer = int.from_bytes(raw[-_TAIL:-4], "little")
    return max(len(raw) - _TAIL - footer, 0)


def seal_is_broken(raw: bytes) -> bool:
    """Whether a Parquet file has a seal of ours, and other bytes than it had when it got it.

    False where there is no seal, or one that belonged to a file of another length.
    """
    found = _SEAL.search(raw, _footer(raw))
    if found is None or int(found[1]) != len(raw):
        return False
    return _digest(raw, found.start(2)) != found[2]


def _digest(raw: bytes | bytearray, place: int) -> bytes:
    """SHA-256 of a file as hexadecimal digits, those of the digest itself taken as zeros."""
    with memoryview(raw) as view:
        made = hashlib.sha256(view[:place])
        made.update(_NO_DIGEST.encode())
        made.update(view[place + len(_NO_DIGEST) :])
    return made.hexdigest().encode()
