"""Rows of a Parquet file with the columns of the CSV contract."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from bellmouth.errors import RecordingError
from bellmouth.recording.header import read_header
from bellmouth.recording.parquet_file import DamagedFileError, table_in
from bellmouth.recording.rows import Rows, odd_cells
from bellmouth.recording.seal import loads_off_in, of_car_in, seal_is_broken, steps_of
from bellmouth.recording.wall_clock import WallClock, is_time_of_day

__all__ = ["rows_of_parquet"]


def rows_of_parquet(raw: bytes, mapping: Mapping[str, str], source: str) -> Rows:
    """Rows of a Parquet file already in memory.

    Raises
    ------
    RecordingError
        Where it is damaged, a header is wrong or a column holds no numbers.
    """
    if seal_is_broken(raw):
        raise RecordingError(
            f"{source}: bytes have changed since it was written. Copy it again from where it came."
        )
    try:
        frame = table_in(raw)
    except DamagedFileError as error:
        raise RecordingError(
            f"{source}: a Parquet file that is damaged or cut short. Copy it again."
        ) from error
    clocks = [place for place, column in enumerate(frame) if _tells_time(column)]
    header = read_header(frame.columns, mapping, source, None, clocks=clocks)
    arrays = {}
    notes = []
    words = [one for one in header.columns if _holds_words(frame.to_series(one.index))]
    if words and len(words) < len(header.columns):
        header = replace(header, columns=tuple(c for c in header.columns if c not in words))
        notes += [
            f'Column "{one.title}" holds words, not numbers, and was left out.' for one in words
        ]
    for column in (header.time, *header.columns):
        series = frame.to_series(column.index)
        if column is header.time:
            series = _seconds(series, column.factor)
        if not (series.dtype.is_numeric() or series.dtype == pl.Null):
            raise RecordingError(
                f'{source}, column "{column.title}": holds {series.dtype}, not numbers.'
            )
        array = series.cast(pl.Float64).to_numpy()
        finite = np.isfinite(array)
        odd = int(np.count_nonzero(~finite)) - series.null_count()
        if odd:
            notes.append(odd_cells(column.title, odd))
        arrays[column.name] = np.where(finite, array, np.nan)
    time = arrays.pop("time")
    return Rows(
        header, time, arrays, lambda row: f"row {row + 1}", tuple(notes),
        of_car=of_car_in(raw), loads_off=loads_off_in(raw), steps=steps_of(raw),
    )  # fmt: skip


def _holds_words(column: pl.Series) -> bool:
    """Whether nothing in it is a number, nor could be made one."""
    if column.dtype.is_numeric() or column.dtype == pl.Null:
        return False
    if column.dtype not in (pl.String, pl.Categorical, pl.Enum):
        return True
    text = column.cast(pl.String).drop_nulls().str.strip_chars()
    text = text.filter(text != "")
    return bool(len(text)) and text.str.contains(r"^\W*[^\W\d_]").all()


def _tells_time(column: pl.Series) -> bool:
    """Whether a column holds moments, times of day or durations, of a type of their own or as text:
    then its title needs no unit."""
    if column.dtype != pl.String:
        return column.dtype.is_temporal()
    first = column.drop_nulls().head(1)
    return bool(len(first)) and is_time_of_day(first.item())


def _seconds(time: pl.Series, factor: float) -> pl.Series:
    """A column of moments, times of day or durations as numbers in the unit of its title."""
    if isinstance(time.dtype, pl.Datetime):
        time = time.dt.epoch("us")
    elif isinstance(time.dtype, pl.Duration):
        time = time.dt.total_microseconds()
    elif time.dtype == pl.Time:
        time = time.cast(pl.Int64) / 1000
    elif _tells_time(time):
        clock = WallClock()
        told = [clock.seconds(cell or "") for cell in time]
        time = pl.Series([None if one is None else 1e6 * one for one in told], dtype=pl.Float64)
    else:
        return time
    return time / (1e6 * factor)
