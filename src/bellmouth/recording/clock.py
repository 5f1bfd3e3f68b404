"""A recording's clock, mended: rows without a time, restarts, rows out of order."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bellmouth.errors import RecordingError
from bellmouth.recording.medians import median
from bellmouth.recording.rows import DAMAGED_SHARE, Rows
from bellmouth.recording.series import Floats

__all__ = ["Clock", "is_astray", "mend"]

# A step back by more than this is a clock that began again, not rows out of order. [s]
RESTART_S = 5.0
# Parts of a restarted recording are set this far apart, so that no stretch spans the seam. [s]
SEAM_S = 60.0
# More steps back than this and the rows are shuffled rather than restarted: who records every start
# of a day in one file has fewer.
MOST_RESTARTS = 200
# Rows this far apart, of so many, tell nothing of an engine: their clock is in another unit. [s]
SPARSEST_S = 12.0
LEAST_ROWS = 10
# No engine is watched across a hole of a day: a few rows at an end that stand so far from all
# others are damaged. A month is more than anybody records in one file, and every second of it
# takes room. [s]
HOLE_S = 86_400.0
# Rows this close together, all in less than a second, are a clock in another unit. [s]
BRIEFEST_S = 1.0
DENSEST_S = 0.002
LONGEST_S = 30 * HOLE_S
# Seconds since 1970 are below 1e10; no clock shows this. [s]
LATEST_S = 1e11


@dataclass(frozen=True)
class Clock:
    """Which rows are kept, in order of time, and their times from the recording's start. [s]

    ``begins_s`` is what the file's own clock showed at that start.
    """

    order: NDArray[np.intp]
    time_s: Floats
    notes: tuple[str, ...]
    begins_s: float = 0.0


def is_astray(time_s: Floats) -> NDArray[np.bool_]:
    """Which times are damaged: no clock shows them, they leap out of the row and back, or they are
    the first or last few and a day away from all others. [s]

    ``time_s`` is in the order of the file. Where more than one in a hundred leaps, none is taken
    for damaged: rows out of order and clocks that began again are another matter.
    """
    astray = np.isfinite(time_s) & (np.abs(time_s) > LATEST_S)
    sound = np.flatnonzero(np.isfinite(time_s) & ~astray)
    most = int(DAMAGED_SHARE * sound.size)
    found: list[NDArray[np.intp]] = []
    for way in (1, -1):  # rows that leap ahead; then, read from the end, rows that fall back
        rows = sound[::way]
        leaps = _leaps(way * time_s[rows], most)
        found.append(rows[leaps])
        sound = sound[~leaps[::way]]
    leapt = np.concatenate(found)
    if leapt.size <= most:
        astray[leapt] = True
        for way in (1, -1):
            rows = np.flatnonzero(np.isfinite(time_s) & ~astray)[::way]
            astray[rows[: _apart(time_s[rows], max(most, 1))]] = True
    return np.asarray(astray)


def _apart(time: Floats, most: int) -> int:
    """How many of the first rows, at most so many and fewer than half, a hole parts from the
    others. [s]"""
    most = min(most, (time.size - 1) // 2)
    holes = np.flatnonzero(np.abs(np.diff(time[: most + 1])) > HOLE_S)
    return int(holes[-1]) + 1 if holes.size else 0


def _leaps(time: Floats, most: int) -> NDArray[np.bool_]:
    """Rows far later than one that follows, where that began with a leap and lasts not long. [s]

    A clock that began again has such rows too, but went on evenly until it did.
    """
    later = np.minimum.accumulate(time[::-1])[::-1]  # the earliest from here on
    late = time - later > RESTART_S
    if not late.any():
        return np.asarray(late)
    first = late & ~np.concatenate(([False], late[:-1]))
    run = np.cumsum(first) - 1
    leapt = (np.diff(time, prepend=time[0]) > RESTART_S)[first]
    brief = np.bincount(run[late], minlength=leapt.size) <= most
    return np.asarray(late & (leapt & brief)[np.maximum(run, 0)])


def mend(rows: Rows, source: str) -> Clock:
    """Put the rows in order of time.

    Raises
    ------
    RecordingError
        Where a time is negative, no row has one, or they are too far apart.
    """
    column = rows.header.time
    time = rows.time if column.factor == 1.0 else rows.time * column.factor
    order: NDArray[np.intp] = np.arange(time.size)
    notes: list[str] = []
    if not _is_sound(time):
        order, time, notes = _mended(rows, time, source)
    _refuse_other_unit(time, column.title, source)
    _refuse_endless(time, column.title, source)
    return Clock(order, time - time[0], tuple(notes), float(time[0]))


def _is_sound(time: Floats) -> bool:
    """Whether every row has a time that a clock shows, in order: most recordings' do. [s]"""
    # One that counts from a trigger begins below zero.
    if not time.size or not -HOLE_S <= time[0] <= time[-1] <= min(LATEST_S, time[0] + HOLE_S):
        return False
    return _is_in_order(time)


def _is_in_order(time: Floats) -> bool:
    return bool((time[1:] >= time[:-1]).all())


def _mended(rows: Rows, time: Floats, source: str) -> tuple[NDArray[np.intp], Floats, list[str]]:
    """The rows that are kept, in order, their times [s], and what was done."""
    title = rows.header.time.title
    notes: list[str] = []
    order: NDArray[np.intp] = np.arange(time.size)
    timed = np.isfinite(time)
    if not timed.all():
        order = np.flatnonzero(timed)
        time = time[timed]
        count = timed.size - time.size
        notes.append(f"{_rows(count)} without a time left out.")
    astray = is_astray(time)
    if astray.any():
        order, time = order[~astray], time[~astray]
        count = int(np.count_nonzero(astray))
        notes.append(
            "1 row with a damaged time was left out."
            if count == 1
            else f"{count} rows with a damaged time were left out."
        )
    if not timed.size:
        raise RecordingError(f"{source}: holds no samples, only a header.")
    if not time.size:
        raise RecordingError(f'{source}: no row has a time in column "{title}".')
    if time.min() < (-HOLE_S if _is_in_order(time) else 0.0):
        first = int(np.argmax(time < 0))
        raise RecordingError(
            f'{source}, {rows.place(int(order[first]))}, column "{title}": '
            f"negative time {rows.time[order[first]]:g}. Times count up from the start."
        )
    time, joined = _join_restarts(time, [~np.isnan(c[order]) for c in rows.cells.values()])
    notes += joined
    steps = np.diff(time)
    if steps.size and steps.min() < 0:
        back = int(np.count_nonzero(steps < 0))
        sort = np.argsort(time, kind="stable")
        order, time = order[sort], time[sort]
        notes.append(f"{_rows(back)} out of order of time sorted in.")
    return order, time, notes


def _refuse_other_unit(time_s: Floats, title: str, source: str) -> None:
    """Rows minutes apart, or hundreds in a blink, are a clock in another unit. [s]"""
    step = median(time_s[1:] - time_s[:-1]) if time_s.size >= LEAST_ROWS else 0.0
    if step > SPARSEST_S:
        raise RecordingError(
            f'{source}, column "{title}": a row every {step:.0f} s, where a recording has several '
            "a second. Is it in another unit, such as ms?"
        )
    whole = float(time_s[-1] - time_s[0])
    if time_s.size >= LEAST_ROWS and 0 < whole < min(BRIEFEST_S, DENSEST_S * time_s.size):
        raise RecordingError(
            f'{source}, column "{title}": {time_s.size} rows in {whole:.2g} s, where a recording '
            "has several a second. Is it in another unit, such as h or d?"
        )


def _refuse_endless(time_s: Floats, title: str, source: str) -> None:
    """What one damaged time, or a clock set anew, makes of a recording: years, most of them empty.
    [s]"""
    if time_s[-1] - time_s[0] > LONGEST_S:
        raise RecordingError(
            f'{source}, column "{title}": {(time_s[-1] - time_s[0]) / HOLE_S:.0f} days lie between '
            "its first row and its last. Is a time damaged? Give one drive in a file."
        )


def _join_restarts(time: Floats, told: Sequence[NDArray[np.bool_]]) -> tuple[Floats, list[str]]:
    """Append what was recorded after each restart of the clock to what came before. [s]

    ``told`` says for each column in which rows it stands.
    """
    back = np.flatnonzero(np.diff(time) < -RESTART_S) + 1
    if not back.size or back.size > MOST_RESTARTS:
        return time, []
    edges = [0, *back.tolist(), time.size]
    places = [slice(start, stop) for start, stop in pairwise(edges)]
    if any(place.stop - place.start < 3 for place in places):
        # A few stray rows are rows out of order.
        return time, []
    joined: list[Floats] = []
    notes = []
    for number, place in enumerate(places):
        part = time[place]
        if not joined or _belongs(time, place, places[:number], told):
            joined.append(part)
            continue
        end = max(float(above.max()) for above in joined)
        begin = float(part.min())
        joined.append(part - begin + end + SEAM_S)
        fell, before = float(time[place.start - 1]) - begin, end - float(time[0])
        notes.append(
            f"The clock was set back by {fell:.0f} s; what follows is placed {SEAM_S:g} s after "
            f"the part before it ({before:.1f} s)."
            if _is_late(part)
            else f"The clock began again at {begin:g} s; what follows is placed {SEAM_S:g} s after "
            f"the part before it ({before:.1f} s)."
        )
    return np.concatenate(joined), notes


def _belongs(
    time: Floats, place: slice, above: Sequence[slice], told: Sequence[NDArray[np.bool_]]
) -> bool:
    """Whether a part is of the same clock as those above it in the file, and to be sorted in. [s]

    Either it holds other columns than they (tables put below one another), or it tells of another
    time. Where it runs through times that they told already, the clock was set back.
    """
    held = [rows for rows in told if rows[place].any()]
    if not any(rows[one].any() for rows in held for one in above):
        return True
    part = time[place]
    apart = all(
        part.max() <= time[one].min() + RESTART_S or part.min() >= time[one].max() for one in above
    )
    return apart and _is_late(part)


def _is_late(part: Floats) -> bool:
    """Whether a part does not begin near zero, as a clock does that began again. [s]"""
    begin = float(part.min())
    return begin > 0.5 * float(part.max()) and begin > RESTART_S


def _rows(count: int) -> str:
    return "1 row was" if count == 1 else f"{count} rows were"
