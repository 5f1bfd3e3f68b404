"""Read a recording, whatever its format, into one kind of object."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from bellmouth.errors import RecordingError
from bellmouth.recording.clock import Clock, mend
from bellmouth.recording.csv_rows import rows_of_csv
from bellmouth.recording.csv_text import load
from bellmouth.recording.header import Column, read_mapping
from bellmouth.recording.parquet_rows import rows_of_parquet
from bellmouth.recording.rows import Rows
from bellmouth.recording.screen import screen
from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["read_recording"]


def read_recording(
    path: str | Path, *, mapping: str | Path | Mapping[str, str] | None = None
) -> Recording:
    """Read a recording from CSV (also gzip) or Parquet.

    Parameters
    ----------
    path
        The file. First column ``time [s]``, then ``name [unit]``; cells may be empty.
    mapping
        Where columns are named otherwise: a table from their header to ``name [unit]``, or a TOML
        file with one table ``[columns]`` of that kind.

    Returns
    -------
    Recording
        Every parameter at its own times, in its own unit; ``notes`` says what was mended or left
        out, ``unmapped`` which columns nobody claims, ``dropped`` how many impossible samples.

    Raises
    ------
    RecordingError
        One sentence that says what is wrong, where, and what to do.
    """
    path = Path(path)
    raw = load(path)
    theirs = read_mapping(mapping)
    parquet = raw[:4] == b"PAR1"
    rows = (rows_of_parquet if parquet else rows_of_csv)(raw, theirs, path.name)
    del raw
    return recording_from_rows(rows, path.name)


def recording_from_rows(rows: Rows, source: str) -> Recording:
    """Mend the clock, convert units, take each parameter at its own times, drop the impossible."""
    clock = mend(rows, source)
    series = {}
    notes = [*rows.header.notes, *rows.notes, *clock.notes]
    samples = 0
    in_order = bool((np.diff(clock.order) == 1).all()) and clock.order.size == rows.time.size
    for column in rows.header.columns:
        cells = rows.cells[column.name]
        found, doubled = _series(column, cells if in_order else cells[clock.order], clock)
        if doubled:
            times = "a time" if doubled == 1 else f"{doubled} times"
            notes.append(f'Column "{column.title}": {times} read twice, averaged.')
        if found is None:
            notes.append(f'Column "{column.title}" is empty.')
            continue
        series[column.name] = found
        samples += found.time_s.size
    if not series:
        raise RecordingError(f"{source}: holds no samples, only a header.")
    seconds = float(clock.time_s[-1])
    if samples < 2 or seconds <= 0:
        raise RecordingError(f"{source}: holds one moment only. Record at least half a minute.")
    recording = Recording(series, source, tuple(notes), rows.header.unmapped, samples / seconds)
    return screen(recording, {column.name: column.title for column in rows.header.columns})


def _series(column: Column, cells: Floats, clock: Clock) -> tuple[Series | None, int]:
    """The cells that hold a value, in the parameter's own unit; how many times stood twice."""
    held = np.flatnonzero(~np.isnan(cells))
    if not held.size:
        return None, 0
    time = clock.time_s[held]
    value = cells[held]
    if column.factor != 1.0 or column.offset != 0.0:
        value = value * column.factor + column.offset
    fresh = np.diff(time, prepend=-1.0) > 0
    doubled = int(time.size - np.count_nonzero(fresh))
    if doubled:
        first = np.flatnonzero(fresh)
        count = np.diff(first, append=time.size)
        value = np.add.reduceat(value, first) / count
        time = time[first]
    return Series(column.name, column.unit, time, value), doubled
