"""Write a recording: CSV of the contract, Parquet with the same columns, or ASAM MDF 4."""

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from bellmouth.errors import RecordingError, told_of
from bellmouth.recording.kept_steps import steps_text
from bellmouth.recording.seal import LOADS_OFF, sealed
from bellmouth.recording.series import Recording

if TYPE_CHECKING:
    import polars as pl

__all__ = ["ENDINGS", "frame", "refused_by_disk", "write_recording"]


@contextmanager
def refused_by_disk() -> Iterator[None]:
    """What the table library says where the disk takes no more is an ``OSError``, as it is where
    Python writes itself: who calls knows what to do about that one."""
    import polars as pl  # noqa: PLC0415 - only what writes a table pays for it

    try:
        yield
    except pl.exceptions.ComputeError as error:
        raise OSError(errno.EIO, "the disk refused it") from error


def frame(recording: Recording) -> "pl.DataFrame":
    """The recording as a table in the layout of the contract, empty cells null.

    A row for every time at which anything was read: first column ``time [s]``, then one column
    a parameter, ``name [unit]``. A row without any value stands where a silent car was asked last
    before it woke.
    """
    import polars as pl  # noqa: PLC0415 - only what writes a table pays for it

    every = recording.series.values()
    # What was asked before the first sample has no place in a file whose time begins with it;
    # rounded to what is left of 0 where the time begins with the question.
    asked = [round(low_s - recording.begins_s, 9) for low_s, _ in recording.woken]
    asked = [at_s for at_s in asked if at_s >= 0]
    times = np.unique(np.concatenate([*(series.time_s for series in every), np.array(asked)]))
    columns = {"time [s]": pl.Series(times)}
    for series in every:
        cells = np.full(times.size, np.nan)
        cells[np.searchsorted(times, series.time_s)] = series.value
        columns[f"{series.name} [{series.unit}]"] = pl.Series(cells, nan_to_null=True)
    return pl.DataFrame(columns)


def write_recording(recording: Recording, path: str | Path, *, overwrite: bool = False) -> None:
    """Write a recording in the format that the path's ending names: .csv, .parquet or .mf4.

    The file is written beside and then put in its place, so that there is never half a file.

    Raises
    ------
    RecordingError
        If the ending is another, or a file is there already and may not be overwritten.
    OSError
        If it cannot be written.
    """
    path = Path(path)
    write = ENDINGS.get(path.suffix.lower())
    if write is None:
        raise RecordingError(
            f"{path.name}: what to write is told by the ending; use {', '.join(ENDINGS)}."
        )
    if path.exists() and not overwrite:
        raise RecordingError(f"{path.name}: is there already. Choose another name, or remove it.")
    # The ending stays: asammdf sets one of its own.
    beside = path.with_name(f".{path.stem}.{os.getpid()}{path.suffix.lower()}")
    with told_of(path):
        try:
            write(recording, beside)
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)


def _csv(recording: Recording, path: Path) -> None:
    with refused_by_disk():
        frame(recording).write_csv(path)


def _parquet(recording: Recording, path: Path) -> None:
    steps = steps_text(recording.series)
    whole = sealed(frame(recording), recording.of_car, loads_off=recording.loads_off, steps=steps)
    path.write_bytes(whole)


def _mdf(recording: Recording, path: Path) -> None:
    """Every parameter is a channel group with its own clock, its name and unit the contract's."""
    from asammdf import MDF, Signal  # noqa: PLC0415 - heavy

    with MDF(version="4.10") as file:
        for series in recording.series.values():
            signal = Signal(
                samples=series.value, timestamps=series.time_s, name=series.name, unit=series.unit
            )
            file.append([signal], comment=recording.source)
        loads = LOADS_OFF if recording.loads_off else ""
        said = [recording.source, *recording.notes, recording.of_car.text(), loads]
        said.append(steps_text(recording.series))
        file.header.comment = "\n".join(filter(None, said))
        file.save(path, overwrite=True)


#: What is written, by the file's ending.
ENDINGS: dict[str, Callable[[Recording, Path], None]] = {
    ".csv": _csv,
    ".parquet": _parquet,
    ".mf4": _mdf,
}
