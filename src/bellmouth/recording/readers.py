"""Read a recording, whatever its format, into one kind of object."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from bellmouth.errors import RecordingError, shown
from bellmouth.recording.clock import Clock, mend
from bellmouth.recording.csv_rows import rows_of_csv
from bellmouth.recording.csv_text import load
from bellmouth.recording.frozen import without_frozen, without_stale
from bellmouth.recording.header import Column, read_mapping
from bellmouth.recording.kept_steps import with_kept_steps
from bellmouth.recording.of_car import OfCar
from bellmouth.recording.on_change import held_between_changes
from bellmouth.recording.own_scale import with_own_steps
from bellmouth.recording.quantum import quantum
from bellmouth.recording.rows import Rows
from bellmouth.recording.screen import screen
from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["journal_of", "read_recording"]

#: A recorder of ours notes no silence that is shorter than a second; a hair for its rounding. [s]
_SILENT_S = 0.99


def read_recording(
    path: str | Path,
    *,
    mapping: str | Path | Mapping[str, str] | None = None,
    controller: int | None = None,
) -> Recording:
    """Read a recording from CSV, Parquet, ASAM MDF 4 or a raw bus log (all also gzip).

    Which it is, is told by the content. Bus logs are those of candump, ASC, BLF and TRC, holding
    requests and replies of SAE J1979 on ISO 15765-4.

    Parameters
    ----------
    path
        The file. First column ``time [s]``, then ``name [unit]``; cells may be empty.
    mapping
        Where columns or channels are named otherwise: a table from their header to
        ``name [unit]``, or a TOML file with one table ``[columns]`` of that kind.
    controller
        Of a bus log: diagnostic address of the controller to read (0x10 is usually the engine's;
        None: the engine's, else whichever answered most).

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
    _refuse_other_kinds(path, controller)
    path = Path(path)
    if path.name and _is_file(journal := journal_of(path)):
        return _left_by_a_crash(path, journal)
    return _read(path, read_mapping(mapping), controller)


def _refuse_other_kinds(path: object, controller: object) -> None:
    """Programs give what lies at hand."""
    if not isinstance(path, str | Path):
        raise RecordingError(
            f"read_recording: {type(path).__name__} is no name of a file. Give a path as text."
        )
    if controller is not None and not isinstance(controller, int):
        raise RecordingError(
            f"controller: {shown(controller)} is no address. Give a whole number, such as 0x10."
        )


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name too long for the disk, a folder that may not be looked into
        return False


def journal_of(path: Path) -> Path:
    """Where a capture to a Parquet file keeps what it has until it ends in order."""
    return path.with_name(f"{path.name}.journal")


def _read(path: Path, mapping: Mapping[str, str], controller: int | None) -> Recording:
    raw = load(path)
    rows = _rows(raw, mapping, path.name, controller)
    del raw
    return recording_from_rows(rows, path.name)


def _left_by_a_crash(path: Path, journal: Path) -> Recording:
    """The longer of a capture's last snapshot and its journal, which holds all of it."""
    found: list[Recording] = []
    errors: list[RecordingError] = []
    for file in (journal, path):
        try:
            found.append(_read(file, {}, None))
        except RecordingError as error:
            errors.append(error)
    if not found:
        raise errors[0]
    longest = max(found, key=_seconds)
    more = f", {_seconds(found[0]) - _seconds(found[1]):.1f} s more" if len(found) > 1 else ""
    note = (
        f"The capture has not ended in order (or is still going on): read from {longest.source}"
        f"{more}."
    )
    # A journal of rows has no place for which car they are of; a snapshot has.
    of_car = max((one.of_car for one in found), key=lambda said: said != OfCar())
    loads_off = any(one.loads_off for one in found)
    notes = (note, *longest.notes)
    return replace(longest, source=path.name, notes=notes, of_car=of_car, loads_off=loads_off)


def _seconds(recording: Recording) -> float:
    return max(float(series.time_s[-1]) for series in recording.series.values())


def _rows(raw: bytes, mapping: Mapping[str, str], source: str, controller: int | None) -> Rows:
    """The rows of a file in memory, by its content; libraries of rarer kinds are loaded late."""
    if raw[:4] == b"PAR1":
        from bellmouth.recording.parquet_rows import rows_of_parquet  # noqa: PLC0415

        return rows_of_parquet(raw, mapping, source)
    if raw[:3] == b"MDF" or raw[:7] == b"UnFinMF":
        from bellmouth.recording.mdf_rows import rows_of_mdf  # noqa: PLC0415

        return rows_of_mdf(raw, mapping, source)
    from bellmouth.recording.traffic import is_traffic, rows_of_traffic  # noqa: PLC0415

    if is_traffic(raw):
        return rows_of_traffic(raw, source, controller)
    return rows_of_csv(raw, mapping, source)


def recording_from_rows(rows: Rows, source: str) -> Recording:
    """Mend the clock, convert units, take each parameter at its own times, drop the impossible."""
    clock = mend(rows, source)
    series = {}
    notes = [*rows.header.notes, *rows.notes, *clock.notes]
    samples = 0
    in_order = bool((np.diff(clock.order) == 1).all()) and clock.order.size == rows.time.size
    distinct = bool((clock.time_s[1:] > clock.time_s[:-1]).all())
    for column in rows.header.columns:
        cells = rows.cells[column.name]
        cells = cells if in_order else cells[clock.order]
        found, doubled = _series(column, cells, clock, distinct=distinct)
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
    recording = Recording(
        with_kept_steps(with_own_steps(series), rows.steps),
        source,
        tuple(notes),
        rows.header.unmapped,
        samples / seconds,
        begins_s=clock.begins_s,
        woken=() if rows.header.unmapped else _woken(rows, clock),
        of_car=rows.of_car,
        loads_off=rows.loads_off,
    )
    titles = {column.name: column.title for column in rows.header.columns}
    told = without_frozen(held_between_changes(screen(recording, titles)))
    return _from_first(without_stale(told))


def _from_first(recording: Recording) -> Recording:
    """The recording with its time from the first sample, or question, that there is: rows before
    it held foreign columns only, or what was left out, and nobody who writes it keeps them."""
    begins = [float(series.time_s[0]) for series in recording.series.values()]
    begins += [low_s - recording.begins_s for low_s, _ in recording.woken]
    start_s = min(begins)
    if start_s <= 0:
        return recording
    series = {
        name: replace(one, time_s=one.time_s - start_s) for name, one in recording.series.items()
    }
    return replace(recording, series=series, begins_s=recording.begins_s + start_s)


def _woken(rows: Rows, clock: Clock) -> tuple[tuple[float, float], ...]:
    """From each row without any value to the next with one: somebody asked, nobody answered. [s]

    Where such rows stand between answers too, it is another program's habit and tells nothing.
    """
    told = np.zeros(rows.time.size, dtype=bool)
    for cells in rows.cells.values():
        told |= ~np.isnan(cells)
    if told.all():
        return ()
    empty = ~told[clock.order]
    time = clock.time_s + clock.begins_s
    held = np.flatnonzero(~empty)
    across = np.diff(held) > 1
    if (np.diff(time[held])[across] < _SILENT_S).any():
        return ()
    last = np.flatnonzero(empty[:-1] & ~empty[1:])
    return tuple((float(time[index]), float(time[index + 1])) for index in last)


def _series(
    column: Column, cells: Floats, clock: Clock, *, distinct: bool
) -> tuple[Series | None, int]:
    """The cells that hold a value, in the parameter's own unit; how many times stood twice, none
    where all are ``distinct``."""
    held = np.flatnonzero(~np.isnan(cells))
    if not held.size:
        return None, 0
    time = clock.time_s[held]
    value = cells[held]
    if column.factor != 1.0 or column.offset != 0.0:
        value = value * column.factor + column.offset
    doubled, step = 0, None
    if not distinct:
        later = time[1:] > time[:-1]
        doubled = int(later.size - np.count_nonzero(later))
    if doubled:
        first = np.concatenate([[0], np.flatnonzero(later) + 1])
        count = np.diff(first, append=time.size)
        # A mean of readings moves in finer steps than they do, and is known no better for that.
        step = quantum(Series(column.name, column.unit, time, value))
        value = np.add.reduceat(value, first) / count
        time = time[first]
    return Series(column.name, column.unit, time, value, step), doubled
