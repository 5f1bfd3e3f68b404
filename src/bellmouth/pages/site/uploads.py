"""A file from a browser, put where it can be read: its name is no path, its size has an end."""

import gzip
import zlib
from pathlib import Path

from fastapi import UploadFile

from bellmouth.errors import BellmouthError

__all__ = ["ENDINGS", "kept_upload"]

ENDINGS = (".csv", ".csv.gz", ".parquet", ".mf4", ".log", ".asc", ".blf", ".trc")
_BLOCK = 1 << 20
#: What a compressed file may grow to: some hours of a quick car. [byte], [value]
MOST_BYTES = 512 << 20
MOST_VALUES = 100_000_000


async def kept_upload(
    file: UploadFile, folder: Path, endings: tuple[str, ...] = ENDINGS, most: int = MOST_BYTES
) -> Path:
    """Write an upload into a folder under a name of our own.

    Raises
    ------
    BellmouthError
        If it ends otherwise than allowed, or grows beyond all measure when it is unpacked.
    """
    name = (file.filename or "").lower()
    # The longest first, so that .csv.gz is not taken for another.
    ending = next((one for one in sorted(endings, key=len)[::-1] if name.endswith(one)), None)
    if ending is None:
        raise BellmouthError(f"Choose a recording that ends in {', '.join(endings)}.")
    path = folder / f"recording{ending}"
    with path.open("wb") as there:
        while block := await file.read(_BLOCK):
            there.write(block)
    if ending.endswith(".gz"):
        _check_gzip(path, most)
    if ending == ".parquet":
        _check_parquet(path)
    return path


def _check_gzip(path: Path, most: int) -> None:
    size = 0
    try:
        with gzip.open(path) as inside:
            while block := inside.read(_BLOCK):
                size += len(block)
                if size > most:
                    raise BellmouthError(
                        f"Unpacked, that file is more than {most >> 20} MB. Give a shorter "
                        "recording."
                    )
    except (OSError, EOFError, zlib.error) as error:
        raise BellmouthError("That file is not gzip, or is cut short. Send it again.") from error


def _check_parquet(path: Path) -> None:
    import polars as pl  # noqa: PLC0415 - loaded by whoever reads it anyway

    try:
        lazy = pl.scan_parquet(path)
        columns = len(lazy.collect_schema())
        rows = int(lazy.select(pl.len()).collect().item())
    except (pl.exceptions.PolarsError, OSError):
        return  # the reader says what is wrong with it
    if rows * columns > MOST_VALUES:
        raise BellmouthError(
            f"That file holds {rows} rows of {columns} columns. Give a shorter recording."
        )
