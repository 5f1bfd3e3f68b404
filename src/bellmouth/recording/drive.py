"""Quasi-steady points out of a drive: moments when nothing changes, gathered by operating point.

A drive holds no stretch long enough to average, but many moments alike. Their differences, after
what speed and load explain, are the honest error of a point.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.grid import STEP_S, Bools, Grid, resample, runs
from bellmouth.recording.quantum import quantisation_error, quantum
from bellmouth.recording.series import Floats, Recording
from bellmouth.recording.stretch import Reading
from bellmouth.recording.trims import BANKS, is_trim, total_trim_series

__all__ = ["Cell", "cell_readings", "cells"]

# Cells of the grid over which a signal may change by at most so much: about 3 s. A ramp leaves
# the mean of a window where it was; what bends is seen as scatter between windows.
WIDTH = 3
CALM = {
    "engine_speed": 0.10,
    "intake_manifold_pressure": 0.18,
    "mass_air_flow": 0.25,
    "calculated_load": 6.0,
    "throttle_position": 2.5,
}
# A long calm moment counts as one window for every so many cells.
LONGEST_WINDOW = 6
LEAST_WINDOWS = 3
# First guess of an operating point's extent in ln speed and ln load.
EXTENT = 0.18
# How far one point's slopes may leave the common ones (0.3 at 2.5 % of noise), as a ridge.
SLOPE_LEAN = 0.008
POOL_SCATTER = 2.0
# Cells by which trims follow the operating point. Common practice, no source.
TRIM_LAG = 2
# Overrun: engine speed well above idle with less pressure, or less air a turn, than this share
# of idle's. Common practice, no source.
OVERRUN_SPEED = 1.4
OVERRUN_PRESSURE = 0.88
OVERRUN_AIR = 0.7
# In ln speed and ln load, a moment of idle between two movements.
IDLE_SPEED = 0.2
IDLE_LOAD = 0.3


@dataclass(frozen=True)
class Cell:
    """An operating point of the drive: its windows as first and stop cells of the grid."""

    first: NDArray[np.intp]
    stop: NDArray[np.intp]


def cells(grid: Grid, usable: Bools, idle: Floats | None, most: int) -> list[Cell]:
    """At most ``most`` operating points among the calm moments of ``usable``.

    ``idle`` is ln speed and ln load of the idle, where it was found, to tell overrun.
    """
    axes = _axes(grid)
    if axes is None or most < 1:
        return []
    first, stop = _windows(grid, usable)
    if first.size < LEAST_WINDOWS:
        return []
    where = np.stack([_window_means(axis, first, stop) for axis in axes])
    if idle is not None:
        pulling = ~_overrun(grid, where, idle) & ~_idling(where, idle)
        first, stop, where = first[pulling], stop[pulling], where[:, pulling]
    extent = EXTENT
    while first.size >= LEAST_WINDOWS:
        keys = np.floor(where / extent).astype(np.intp)
        _, label, count = np.unique(keys, axis=1, return_inverse=True, return_counts=True)
        label = label.ravel()
        kept = np.flatnonzero(count >= LEAST_WINDOWS)
        if kept.size <= most:
            return [Cell(first[label == one], stop[label == one]) for one in kept]
        extent *= 1.25
    return []


def cell_readings(recording: Recording, grid: Grid, found: list[Cell]) -> list[dict[str, Reading]]:
    """Every parameter at each operating point.

    A parameter is regressed on ln speed and ln load over the point's windows; the value is the
    line's at their mean, its error that of the intercept. Slopes and scatter lean on those of
    all points together, for a point of three windows has none of its own.
    """
    axes = _axes(grid)
    if axes is None or not found:
        return []
    first = np.concatenate([cell.first for cell in found])
    stop = np.concatenate([cell.stop for cell in found])
    label = np.repeat(np.arange(len(found)), [cell.first.size for cell in found])
    where = np.stack([_window_means(axis, first, stop) for axis in axes])
    result: list[dict[str, Reading]] = [{} for _ in found]
    totals = (total_trim_series(recording, bank) for bank in BANKS)
    for series in (*recording.series.values(), *(total for total in totals if total)):
        name = series.name
        if series.time_s.size < LEAST_WINDOWS:
            continue
        on_grid = resample(series, grid.time_s)
        if is_trim(name):
            # Exhaust and controller take their time: what they say now is about then.
            on_grid = np.concatenate([on_grid[TRIM_LAG:], np.repeat(on_grid[-1:], TRIM_LAG)])
        value = _window_means(on_grid, first, stop)
        # A window whose parameter was not read within a second of it says nothing.
        edges = np.stack([first - 1, stop + 1]) * STEP_S
        low, high = np.searchsorted(series.time_s, edges)
        read = high > low
        each = _regress(value[read], where[:, read], label[read], len(found), quantum(series))
        for readings, reading in zip(result, each, strict=True):
            if reading is not None:
                readings[name] = reading
    return result


def _axes(grid: Grid) -> tuple[Floats, Floats] | None:
    """Ln speed and ln load (pressure before airflow) on the grid."""
    by_name = {signal.name: signal.value for signal in grid.signals}
    for load in ("intake_manifold_pressure", "mass_air_flow"):
        if load in by_name:
            return by_name["engine_speed"], by_name[load]
    return None


def _windows(grid: Grid, usable: Bools) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Unbroken calm moments, long ones cut into several."""
    calm = usable.copy()
    half = WIDTH // 2
    for signal in grid.signals:
        if signal.name not in CALM:
            continue
        padded = np.pad(signal.value, half, mode="edge")
        views = np.lib.stride_tricks.sliding_window_view(padded, WIDTH)
        calm &= views.max(axis=1) - views.min(axis=1) <= CALM[signal.name]
    first, stop = [], []
    for start, end in runs(calm):
        pieces = max(1, round((end - start) / LONGEST_WINDOW))
        edges = np.linspace(start, end, pieces + 1).round().astype(int).tolist()
        first += edges[:-1]
        stop += edges[1:]
    return np.array(first, dtype=np.intp), np.array(stop, dtype=np.intp)


def _window_means(value: Floats, first: NDArray[np.intp], stop: NDArray[np.intp]) -> Floats:
    sums = np.concatenate([[0.0], np.cumsum(value)])
    means: Floats = (sums[stop] - sums[first]) / (stop - first)
    return means


def _overrun(grid: Grid, where: Floats, idle: Floats) -> Bools:
    """Speed well above idle with hardly any filling: the fuel is cut or about to be."""
    faster = where[0] - idle[0]
    fuller = where[1] - idle[1]
    by_pressure = any(signal.name == "intake_manifold_pressure" for signal in grid.signals)
    empty: Bools = (
        fuller < np.log(OVERRUN_PRESSURE) if by_pressure else fuller - faster < np.log(OVERRUN_AIR)
    )
    fast: Bools = faster > np.log(OVERRUN_SPEED)
    return empty & fast


def _idling(where: Floats, idle: Floats) -> Bools:
    """Near the idle's speed and load: a moment of idle, which has stretches of its own."""
    slow: Bools = where[0] < idle[0] + IDLE_SPEED
    light: Bools = where[1] < idle[1] + IDLE_LOAD
    return slow & light


def _regress(
    value: Floats, where: Floats, label: NDArray[np.intp], size: int, step: float
) -> list[Reading | None]:
    """A reading for each cell with windows enough."""
    held = [np.flatnonzero(label == one) for one in range(size)]
    held = [rows if rows.size >= LEAST_WINDOWS - 1 else rows[:0] for rows in held]
    across = np.zeros_like(where)
    rest = np.zeros_like(value)
    for rows in held:
        if rows.size:
            across[:, rows] = where[:, rows] - where[:, rows].mean(axis=1, keepdims=True)
            rest[rows] = value[rows] - value[rows].mean()
    # Slopes go with the size of the value, near enough: what is pooled is relative.
    level = np.array([abs(value[rows].mean()) if rows.size else 1.0 for rows in held])
    level = np.maximum(level, 1e-9)
    relative = rest / level[label]
    pooled = np.linalg.lstsq(across.T, relative, rcond=1e-6)[0]
    left = relative - across.T @ pooled
    for rows in held:
        if rows.size:
            own = across[:, rows]
            lean = own @ own.T + SLOPE_LEAN * np.eye(2)
            left[rows] -= own.T @ np.linalg.solve(lean, own @ left[rows])
    freedom = max(sum(max(rows.size - 2, 0) for rows in held), 1)
    pool = float(left @ left) / freedom
    return [
        _reading(value[rows], left[rows] * level[one], pool * level[one] ** 2, step)
        if rows.size
        else None
        for one, rows in enumerate(held)
    ]


def _reading(value: Floats, rest: Floats, pool: float, step: float) -> Reading:
    """From a cell's windows and what their regression leaves of them."""
    size = value.size
    squares = float(rest @ rest)
    scatter2 = (squares + POOL_SCATTER * pool) / (max(size - 2, 0) + POOL_SCATTER)
    memory = float(rest[1:] @ rest[:-1]) / squares if squares > 0 else 0.0
    memory = min(max((memory * size + 1) / (size + 4), 0.0), 0.9)
    independent = max(size * (1 - memory) / (1 + memory), 1.0)
    rounding = float(quantisation_error(step, np.array([value.var()]))[0])
    return Reading(
        value=float(value.mean()),
        standard_error=float(np.hypot(np.sqrt(scatter2 / independent), rounding)),
        scatter=float(np.sqrt(scatter2)),
        samples=size,
        independent_samples=independent,
        quantum=step,
    )
