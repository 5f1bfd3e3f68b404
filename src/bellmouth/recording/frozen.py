"""Readings that stand still while the engine turns: a logger that fills its rows with the last
readings goes on doing so when its adapter, or the controller for one of them, no longer answers.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bellmouth.recording.grid import RUNS_RPM
from bellmouth.recording.series import Floats, Recording, Series

__all__ = ["without_frozen", "without_stale"]

#: All readings of a real car that idled, two rows a second, stood alike for 2.0 s at most (24
#: recordings), its engine speed alone for 8.2 s; slow buses are read every few seconds. [s]
FROZEN_S = 10.0
# In that time engine speed was written so often, or there is a hole and no row; and so many
# parameters tell that nothing moved.
_ROWS, _PARAMETERS = 10, 4
# Airflow follows engine speed, in steps so fine that it stands at no number; manifold pressure may
# be the same at two speeds. Speed changes by so much of itself. Common practice, no source.
_FLOWS = ("mass_air_flow", "mass_air_flow_sensor_a_extended", "mass_air_flow_sensor_b_extended")
_CHANGES = 0.2
# Where readings stand still for that long as a rule, this tells nothing.
_USUAL, _MOST = 0.95, 0.5


def without_frozen(recording: Recording) -> Recording:
    """The recording without rows that repeat the last readings for ten seconds and more."""
    speed = recording.get("engine_speed")
    if speed is None or _longest_s(_moves(speed)) < FROZEN_S:
        return recording
    told = [one for one in recording.series.values() if one.time_s.size >= _ROWS]
    if len(told) < _PARAMETERS:
        return recording
    found = _frozen(speed, np.unique(np.concatenate([_moves(one) for one in told])))
    if not found:
        return recording
    series = {name: _without(one, found) for name, one in recording.series.items()}
    return replace(recording, series=series, notes=(*recording.notes, _said(found)))


def _moves(series: Series) -> Floats:
    """Times at which a reading is another than before, and its first and last. [s]"""
    kept = np.ones(series.time_s.size, dtype=bool)
    kept[1:-1] = series.value[1:-1] != series.value[:-2]
    return series.time_s[kept]


def _longest_s(moves: Floats) -> float:
    return float(np.diff(moves).max(initial=0.0))


def _frozen(speed: Series, moves: Floats) -> list[tuple[float, float]]:
    """From the last move to the next, where that is far too long and the engine turned. [s]"""
    last = np.searchsorted(speed.time_s, moves[:-1], side="right") - 1
    turns = speed.value[np.maximum(last, 0)] > RUNS_RPM
    still_s = np.diff(moves)
    rows = np.diff(np.searchsorted(speed.time_s, moves))
    long = turns & (still_s >= FROZEN_S) & (rows >= _ROWS)
    if not long.any() or still_s[long].sum() > _MOST * still_s[turns].sum():
        return []
    if np.quantile(still_s[turns & ~long], _USUAL) > FROZEN_S / 3:
        return []
    return [(float(moves[n]), float(moves[n + 1])) for n in np.flatnonzero(long)]


def _without(series: Series, frozen: Sequence[tuple[float, float]]) -> Series:
    kept = np.ones(series.time_s.size, dtype=bool)
    for begin_s, end_s in frozen:
        kept &= (series.time_s <= begin_s) | (series.time_s >= end_s)
    # A parameter that was written then only keeps what it said.
    return (
        replace(series, time_s=series.time_s[kept], value=series.value[kept])
        if kept.any()
        else series
    )


def _said(frozen: Sequence[tuple[float, float]]) -> str:
    begin_s, end_s = max(frozen, key=lambda one: one[1] - one[0])
    if len(frozen) == 1:
        return (
            f"From {begin_s:.0f} to {end_s:.0f} s nothing moved while the engine turned: the last "
            "readings were written again and again, and were left out. Did the adapter drop out?"
        )
    return (
        f"{len(frozen)} times nothing moved while the engine turned, the longest from "
        f"{begin_s:.0f} to {end_s:.0f} s: the last readings were written again and again, and "
        "were left out. Did the adapter drop out?"
    )


def without_stale(recording: Recording) -> Recording:
    """The recording without readings of airflow that stood at one number for ten seconds and more
    while engine speed changed. One that never moved at all is left: that is a dead sensor's."""
    speed = recording.get("engine_speed")
    if speed is None:
        return recording
    series, notes = dict(recording.series), list(recording.notes)
    for name in (name for name in _FLOWS if name in series):
        one = series[name]
        stale = _stale(one, speed)
        if not stale:
            continue
        series[name] = _without(one, stale)
        begin_s, end_s = max(stale, key=lambda piece: piece[1] - piece[0])
        notes.append(
            f"{name} stood still while engine speed changed, the longest from {begin_s:.0f} to "
            f"{end_s:.0f} s: a reading that was written again and again was left out."
        )
    return replace(recording, series=series, notes=tuple(notes))


def _stale(series: Series, speed: Series) -> list[tuple[float, float]]:
    """From where it stands to where it moves again, one after another. [s]"""
    moves = _moves(series)
    found: list[tuple[float, float]] = []
    for n in np.flatnonzero(np.diff(moves) >= FROZEN_S):
        begin_s, end_s = float(moves[n]), float(moves[n + 1])
        rows = np.searchsorted(series.time_s, (begin_s, end_s))
        value = float(series.value[rows[0]])
        rpm = speed.value[slice(*np.searchsorted(speed.time_s, (begin_s, end_s)))]
        if rows[1] - rows[0] < _ROWS or rpm.size < _ROWS or value <= 0:
            continue
        low, high = np.quantile(rpm, (0.1, 0.9))
        if low > RUNS_RPM and high - low > _CHANGES * high:
            found.append((begin_s, end_s))
    # From its first sample to its last is no piece of it.
    return [] if moves.size == 2 else found
