"""Rows of a CSV file: a fast road for plain numbers, a patient one where anything is odd."""

import re
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from bellmouth.recording.csv_patient import moment, patient_rows, placer
from bellmouth.recording.csv_table import (
    Table,
    holds_times_of_day,
    table_of,
    untitled_end,
    with_units_below,
)
from bellmouth.recording.csv_text import read_text
from bellmouth.recording.digit_marks import thousands_top
from bellmouth.recording.header import Column
from bellmouth.recording.rows import Rows, odd_cells
from bellmouth.recording.series import Floats
from bellmouth.recording.wall_clock import WallClock

__all__ = ["rows_of_csv"]

_THOUSANDS = r"^[+-]?[1-9]\d{0,2}\.\d{3}$"
_WHOLE_THOUSAND = re.compile(rb"(?<![\d.])[1-9]\d{0,2}\.000(?!\d)")


def rows_of_csv(raw: bytes, mapping: Mapping[str, str], source: str) -> Rows:
    """Rows of a CSV file already in memory.

    Raises
    ------
    RecordingError
        Where it is not a table, a header is wrong, a cell is not a number or may be two.
    """
    table = table_of(read_text(raw, source), mapping, source)
    by_clock = holds_times_of_day(table.text, table.header.time.index)
    rows = _fast(table, by_clock=by_clock)
    if rows is None and (below := with_units_below(table, mapping, source)) is not None:
        table = below
        by_clock = holds_times_of_day(table.text, table.header.time.index)
        rows = _fast(table, by_clock=by_clock)
    if rows is None:
        rows = patient_rows(table, source, by_clock=by_clock)
    if not by_clock:
        return rows
    time = table.header.time
    told = f'Column "{time.title}" holds times of day; they are counted from the first row.'
    return replace(rows, time=rows.time / time.factor, notes=(*rows.notes, told))


def _fast(table: Table, *, by_clock: bool) -> Rows | None:
    """All cells as numbers at once, or None where any cell or row is out of the ordinary."""
    header, text, width = table.header, table.text, len(table.titles)
    used = header.columns if by_clock else (header.time, *header.columns)
    schema: dict[str, pl.DataType] = {str(index): pl.String() for index in range(width)}
    schema |= {str(column.index): pl.Float64() for column in used}
    nameless = range(untitled_end(table.titles), width)
    read = {header.time.index, *(column.index for column in used), *nameless}
    try:
        frame = pl.read_csv(
            text.body,
            has_header=False,
            schema=schema,
            columns=sorted(read),
            separator=text.separator,
        )
    except pl.exceptions.PolarsError:
        return None
    if any(frame[str(index)].null_count() < frame.height for index in nameless):
        return None
    notes = list(text.notes)
    arrays = {}
    for column in used:
        series = frame[str(column.index)]
        array = series.to_numpy()
        # Beside empty cells (null) only a cell that says so is NaN here.
        odd = int(np.count_nonzero(~np.isfinite(array))) - series.null_count()
        if odd:
            array = np.where(np.isfinite(array), array, np.nan)
            notes.append(odd_cells(column.title, odd))
        if _perhaps_thousands(column, array, text.body) and _pointed(table, column.index, schema):
            return None
        arrays[column.name] = array
    if by_clock:
        clock = WallClock()
        times = [moment(cell or "", clock) for cell in frame[str(header.time.index)]]
        if None in times:
            return None
        arrays["time"] = np.array(times, dtype=np.float64)
    time = arrays.pop("time")
    return Rows(header, time, arrays, placer(text), tuple(notes))


def _pointed(table: Table, index: int, schema: Mapping[str, pl.DataType]) -> bool:
    """Whether a column has points, all of them where thousands are marked: the cells themselves are
    looked at, as ``1.5`` and ``1.500`` are the same number."""
    told = {**schema, str(index): pl.String()}
    (cells,) = pl.read_csv(
        table.text.body, has_header=False, schema=told, columns=[index],
        separator=table.text.separator,
    )  # fmt: skip
    cells = cells.drop_nulls().str.strip_chars()
    pointed = cells.filter(cells.str.contains(".", literal=True))
    return bool(len(pointed) and pointed.str.contains(_THOUSANDS).all())


def _perhaps_thousands(column: Column, array: Floats, body: bytes) -> bool:
    """Whether points in a column may mark thousands: all that have one are small enough for that,
    and nothing else in the column has decimals. The patient road looks at the cells themselves."""
    top = thousands_top(column.name, column.factor, column.offset)
    if top < 1000:
        return False
    if column.name == "time":
        # Counted in order nobody counts from 999 to 1.000, and what is in thousands would be over
        # in a blink without them.
        lasts = array.size and (array[-1] - array[0]) * column.factor >= 1.0
        if lasts and not (array[1:] < array[:-1]).any():
            return False
        top = 1e6
    size = np.abs(array)
    small = (size >= 1) & (size <= top / 1000)
    if not small.any():
        return False
    parted = size != np.rint(size)
    parted &= np.isfinite(size)
    if (parted & ~small).any():
        return False
    # A whole thousand has lost its zeros here.
    return bool((small & parted).any()) or _WHOLE_THOUSAND.search(body) is not None
