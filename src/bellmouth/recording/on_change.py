"""A log in which a reading stands only where it changed: until the next one it holds, and what is
read is not only what moves.
"""

from dataclasses import replace

import numpy as np

from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["held_between_changes"]

# Were it polled, so many readings would be as the one before by chance alone; the chance of none is
# below one in twenty thousand. And so many parameters. Ours.
_EXPECTED, _PARAMETERS = 10.0, 3
#: What holds is written down so often, where anything at all was written. [s]
_EVERY_S = 0.2


def held_between_changes(recording: Recording) -> Recording:
    """The recording with readings that hold, where no reading is ever as the one before."""
    every = recording.series.values()
    if len(every) < _PARAMETERS or any(map(_repeats, every)) or _expected(recording) < _EXPECTED:
        return recording
    rows = np.unique(np.concatenate([one.time_s for one in every]))
    step = np.floor(rows / _EVERY_S)
    rows = rows[np.concatenate([[True], step[1:] > step[:-1]])]
    note = (
        "No reading is as the one before: they are written where they change only, and were taken "
        "to hold until then."
    )
    series = {name: _held(one, rows) for name, one in recording.series.items()}
    return replace(recording, series=series, notes=(*recording.notes, note))


def _repeats(series: Series) -> bool:
    return bool((series.value[1:] == series.value[:-1]).any())


def _expected(recording: Recording) -> float:
    """How many readings would be as the one before by chance."""
    return sum(
        (one.value.size - 1) / np.unique(one.value).size for one in recording.series.values()
    )


def _held(series: Series, rows: Floats) -> Series:
    time_s = np.union1d(series.time_s, rows[rows > series.time_s[0]])
    value = series.value[np.searchsorted(series.time_s, time_s, side="right") - 1]
    return replace(series, time_s=time_s, value=value)
