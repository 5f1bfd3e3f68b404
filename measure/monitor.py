"""The windows of a procedure judged by a general-purpose monitor of signal temporal logic.

Clocks and events are taken from the samples by a plain loop that shares nothing with the judge;
the monitor (rtamt) then evaluates the formulae of `bellmouth.learning.formal`.
"""

import warnings
from collections.abc import Mapping
from time import perf_counter
from typing import Any

import numpy as np

from bellmouth.learning.formal import Formula
from bellmouth.recording.series import Floats, Recording

__all__ = ["Spans", "evaluated", "robustness", "signals_of", "spans_of_idle_air"]

Spans = Mapping[str, tuple[int, int]]


def spans_of_idle_air(
    time: Floats, recording: Recording, steady_s: float
) -> dict[str, tuple[int, int]]:
    """Samples in which each step of the idle air learning begins and ends.

    ``time`` is a grid of all the poller's ticks, those unanswered too. A press is a sample over
    half of the travel, the key is off where a tick has no answer.
    """
    pedal = _on_grid(time, recording, "accelerator_pedal_position_d")
    speed = _on_grid(time, recording, "engine_speed")
    awake = ~np.isnan(pedal)
    off = int(np.flatnonzero(~awake)[0])
    on = off + int(np.flatnonzero(awake[off:])[0])
    down = np.nan_to_num(pedal) > 0.5 * (np.nanmin(pedal) + np.nanmax(pedal))
    edges = np.flatnonzero(np.diff(down.astype(int))) + 1
    presses, releases = edges[::2], edges[1::2]
    start = int(np.flatnonzero(np.nan_to_num(speed) > 50.0)[0])
    running = int(np.flatnonzero(np.nan_to_num(speed) > 400.0)[0])
    steady = int(np.searchsorted(time, steady_s))
    return {
        "key_off": (off, on),
        "key_on": (on, int(presses[0])),
        "five_presses": (int(presses[0]), int(releases[-2])),
        "wait": (int(releases[-2]), int(presses[-1])),
        "let_go": (steady, int(releases[-1])),
        "start": (int(releases[-1]), start),
        "idle": (running, time.size - 1),
    }


def _on_grid(time: Floats, recording: Recording, name: str) -> Floats:
    series = recording.series[name]
    grid = np.full(time.size, np.nan)
    grid[np.searchsorted(time, series.time_s - 1e-6)] = series.value
    return grid


def signals_of(time: Floats, span: tuple[int, int]) -> tuple[list[float], list[float]]:
    """Clock and end of one step on the grid: seconds since it began, and 1 where it ended."""
    begin, end = span
    clock = [max(0.0, float(at - time[begin])) for at in time]
    ends = [0.0] * time.size
    ends[end] = 1.0
    return clock, ends


def _monitor() -> Any:
    """An empty specification; the library's parser still imports a module that is deprecated."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        import rtamt  # noqa: PLC0415 - only whoever compares pays for it

        return rtamt.StlDiscreteTimeSpecification()


def robustness(formula: Formula, time: Floats, span: tuple[int, int]) -> float:
    """The formula's robustness at the first sample, by the monitor. [s]"""
    return evaluated(formula, time, span)[0]


def evaluated(formula: Formula, time: Floats, span: tuple[int, int]) -> tuple[float, float]:
    """The formula's robustness, and how long evaluating it took once it was parsed. [s], [s]"""
    clock, ends = signals_of(time, span)
    monitor = _monitor()
    for name in formula.signals:
        monitor.declare_var(name, "float")
    monitor.spec = formula.text
    monitor.parse()
    trace = {"time": list(range(time.size)), formula.signals[0]: clock, formula.signals[1]: ends}
    start = perf_counter()
    found = float(monitor.evaluate(trace)[0][1])
    return found, perf_counter() - start
