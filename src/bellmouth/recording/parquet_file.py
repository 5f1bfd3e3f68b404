"""A Parquet file in memory to a table, or one kind of error, whatever is wrong with it."""

import io

import polars as pl

from bellmouth.recording.parquet_pages import pages_fit

__all__ = ["DamagedFileError", "table_in"]


class DamagedFileError(ValueError):
    """A Parquet file that is damaged, cut short, or none at all."""


def table_in(raw: bytes) -> pl.DataFrame:
    """The table of a Parquet file.

    Raises
    ------
    DamagedFileError
        Where it cannot be read. All that polars was seen to raise on changed bytes is that; a
        panic of its own is no ``Exception``.
    """
    if not pages_fit(raw):
        raise DamagedFileError("its pages are not those that it lists")
    try:
        return pl.read_parquet(io.BytesIO(raw))
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
        raise DamagedFileError(str(error)) from error
