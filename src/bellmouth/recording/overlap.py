"""Whether two recordings hold the same stretch of time: two made apart never do."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.series import Recording, Series

__all__ = ["overlap_s"]

# So many samples in a row alike in value and spacing, of so many different values, are no chance.
_ROW = 24
_DIFFERENT = 6
# What never repeats itself; a clock or a warming coolant runs alike on any two days.
_RESTLESS = ("engine_speed", "mass_air_flow", "intake_manifold_pressure")


def overlap_s(one: Recording, other: Recording) -> float:
    """For how long both recordings hold the very same samples, whatever their clocks show. [s]

    Zero where they share nothing. Told by speed, airflow and manifold pressure, where they move.
    """
    both = [name for name in _RESTLESS if name in one and name in other]
    return max(
        (_shared_s(_moves(one.series[name]), _moves(other.series[name])) for name in both),
        default=0.0,
    )


def _moves(series: Series) -> Series:
    """Samples that are another than the one before: what holds between changes is written down at
    times that hang on where a file begins."""
    moves = np.concatenate([[True], series.value[1:] != series.value[:-1]])
    return replace(series, time_s=series.time_s[moves], value=series.value[moves])


def _shared_s(one: Series, other: Series) -> float:
    if min(one.time_s.size, other.time_s.size) < _ROW:
        return 0.0
    starts = np.arange(0, other.time_s.size - _ROW + 1, _ROW)  # each sample in one row at most
    moving = [np.unique(other.value[n : n + _ROW]).size >= _DIFFERENT for n in starts]
    starts = starts[moving]
    if not starts.size:
        return 0.0
    found = starts[np.isin(_keys(other)[starts], _keys(one))]
    return float((other.time_s[found + _ROW - 1] - other.time_s[found]).sum())


def _keys(series: Series) -> NDArray[np.uint64]:
    """A number for every run of samples: values, and the milliseconds between them.

    Sums modulo 2**64 of the numbers' own bits with odd weights: alike only where the runs are.
    """
    value = (series.value + 0.0).view(np.uint64)  # no minus zero
    apart = np.round(1000.0 * np.diff(series.time_s)).astype(np.int64).view(np.uint64)
    weights = np.random.default_rng(0).integers(0, 2**63, 2 * _ROW, dtype=np.uint64) * 2 + 1
    count = value.size - _ROW + 1
    keys = np.zeros(count, dtype=np.uint64)
    for n in range(_ROW):
        keys += weights[n] * value[n : n + count]
    for n in range(_ROW - 1):
        keys += weights[_ROW + n] * apart[n : n + count]
    return keys
