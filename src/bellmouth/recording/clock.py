"""A recording's clock, mended: rows without a time, restarts, rows out of order."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import RecordingError
from bellmouth.recording.rows import Rows
from bellmouth.recording.series import Floats

__all__ = ["Clock", "mend"]

# A step back by more than this is a clock that began again, not rows out of order. [s]
RESTART_S = 5.0
# Parts of a restarted recording are set this far apart, so that no stretch spans the seam. [s]
SEAM_S = 60.0
# More steps back than this and the rows are shuffled rather than restarted.
MOST_RESTARTS = 12


@dataclass(frozen=True)
class Clock:
    """Which rows are kept, in order of time, and their times from the recording's start. [s]

    ``begins_s`` is what the file's own clock showed at that start.
    """

    order: NDArray[np.intp]
    time_s: Floats
    notes: tuple[str, ...]
    begins_s: float = 0.0


def mend(rows: Rows, source: str) -> Clock:
    """Put the rows in order of time.

    Raises
    ------
    RecordingError
        Where a time is negative or no row has one.
    """
    column = rows.header.time
    time = rows.time if column.factor == 1.0 else rows.time * column.factor
    notes: list[str] = []
    order: NDArray[np.intp] = np.arange(time.size)
    timed = np.isfinite(time)
    if not timed.all():
        order = np.flatnonzero(timed)
        time = time[timed]
        count = timed.size - time.size
        notes.append(f"{_rows(count)} without a time left out.")
    if not time.size:
        raise RecordingError(f'{source}: no row has a time in column "{column.title}".')
    if time.min() < 0:
        first = int(np.argmax(time < 0))
        raise RecordingError(
            f'{source}, {rows.place(int(order[first]))}, column "{column.title}": '
            f"negative time {rows.time[order[first]]:g}. Times count up from the start."
        )
    time, joined = _join_restarts(time)
    notes += joined
    steps = np.diff(time)
    if steps.size and steps.min() < 0:
        back = int(np.count_nonzero(steps < 0))
        sort = np.argsort(time, kind="stable")
        order, time = order[sort], time[sort]
        notes.append(f"{_rows(back)} out of order of time sorted in.")
    return Clock(order, time - time[0], tuple(notes), float(time[0]))


def _join_restarts(time: Floats) -> tuple[Floats, list[str]]:
    """Append what was recorded after each restart of the clock to what came before."""
    back = np.flatnonzero(np.diff(time) < -RESTART_S) + 1
    if not back.size or back.size > MOST_RESTARTS:
        return time, []
    edges = [0, *back.tolist(), time.size]
    parts = [time[start:stop] for start, stop in pairwise(edges)]
    if any(part.size < 3 for part in parts):
        # A few stray rows are rows out of order.
        return time, []
    joined = [parts[0]]
    notes = []
    for part in parts[1:]:
        end = float(joined[-1].max())
        begin = float(part.min())
        if begin > 0.5 * float(part.max()) and begin > RESTART_S:
            # It did not begin near zero: an earlier piece of the same clock, to be sorted in.
            joined.append(part)
            continue
        joined.append(part - begin + end + SEAM_S)
        notes.append(
            f"The clock began again at {begin:g} s; what follows is placed {SEAM_S:g} s after "
            f"the part before it ({end - float(time[0]):.1f} s)."
        )
    return np.concatenate(joined), notes


def _rows(count: int) -> str:
    return "1 row was" if count == 1 else f"{count} rows were"
