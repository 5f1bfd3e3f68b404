"""A Parquet file in memory to a table, or one kind of error, whatever is wrong with it."""

import io
import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import polars as pl

from bellmouth.recording.parquet_pages import pages_fit

__all__ = ["DamagedFileError", "reads_alone", "table_in"]

_STDERR = 2
_alone = threading.Event()


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
        with _hushed():
            return pl.read_parquet(io.BytesIO(raw))
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
        raise DamagedFileError(str(error)) from error


def reads_alone() -> None:
    """Say that this process reads in one thread only, whichever that is, as a survey's worker."""
    _alone.set()


@contextmanager
def _hushed() -> Iterator[None]:
    """A block in which polars does not print what it panicked of: a person is told in a sentence.

    It prints to the process's standard error, past Python. What anybody else writes there
    meanwhile comes when the block ends. Only in the main thread, or where a process said that it
    reads alone, so that no two do this at once: a command reads there, a server never does, and its
    panics stay in its log.
    """
    if threading.current_thread() is not threading.main_thread() and not _alone.is_set():
        yield
        return
    try:
        kept = os.dup(_STDERR)
    except OSError:  # nowhere to print to
        yield
        return
    with tempfile.TemporaryFile() as said:
        if sys.stderr is not None:
            sys.stderr.flush()
        os.dup2(said.fileno(), _STDERR)
        try:
            yield
        except pl.exceptions.PanicException:
            said.truncate(0)
            raise
        finally:
            os.dup2(kept, _STDERR)
            os.close(kept)
            said.seek(0)
            if written := said.read():
                os.write(_STDERR, written)
