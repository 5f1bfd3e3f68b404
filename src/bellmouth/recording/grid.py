"""All key signals of a recording on one even clock, and which moments can be used at all."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bellmouth.recording.medians import median
from bellmouth.recording.series import Floats, Recording, Series

__all__ = [
    "OFF_RPM",
    "RUNS_RPM",
    "WARM_C",
    "Bools",
    "Grid",
    "Signal",
    "grid_of",
    "resample",
    "runs",
]

Bools = NDArray[np.bool_]

# The even clock. One second is finer than any parameter of a slow bus is read. [s]
STEP_S = 1.0
# No sample of engine speed for this long, and nothing is known of what happened. [s]
GAP_S = 5.0
# Below this the engine does not run (the standard's step is 0.25 rpm). [rpm]
OFF_RPM = 50.0
# From here an engine turns by itself and not by its starter: less than a start is asked to reach,
# as an engine about to stall runs slower. Common practice, no source. [rpm]
RUNS_RPM = 350.0
# Coolant at which an engine counts as warm; common practice, no source. [degC]
WARM_C = 65.0
# After the start the controller flares the engine up and runs open loop. [s]
FLARE_S = 12.0
# Nobody cranks for longer: an engine that turns as slowly for longer idles so. [s]
CRANKED_S = 40.0


@dataclass(frozen=True)
class Signal:
    """A signal on the grid, in units of what counts as the same operating point.

    ``weight`` is how many samples a cell holds, at most 1: between samples the grid only
    repeats them.
    """

    name: str
    value: Floats
    scale: float
    weight: float


@dataclass(frozen=True)
class Grid:
    """Cell ``i`` is centred on ``time_s[i]``; ``STEP_S`` apart.

    ``off`` is where the engine stands, ``running`` where it runs and is past its start, both
    only where engine speed is known. ``moving`` is where road speed is reported above walking
    pace; None where it is not reported.
    """

    time_s: Floats
    off: Bools
    running: Bools
    moving: Bools | None
    signals: tuple[Signal, ...]


def grid_of(recording: Recording) -> Grid | None:
    """The recording on an even clock; None without engine speed."""
    speed = recording.get("engine_speed")
    if speed is None or speed.time_s.size < 2:
        return None
    last = max(series.time_s[-1] for series in recording.series.values())
    time = np.arange(0.0, last + STEP_S, STEP_S) + 0.5 * STEP_S
    rpm = resample(speed, time)
    covered = _covered(speed.time_s, time)
    off = covered & _standing(speed, time)
    running = covered & ~off & (rpm > OFF_RPM) & ~_starting(recording, off, rpm, time)
    road = recording.get("vehicle_speed")
    moving = None if road is None else resample(road, time) > 2.0
    return Grid(time, off, running, moving, _signals(recording, rpm, time))


def resample(series: Series, time: Floats) -> Floats:
    """Means over each cell; straight lines across cells that hold no sample."""
    cell = ((series.time_s - time[0]) / STEP_S + 0.5).astype(np.intp)
    count = np.bincount(cell, minlength=time.size)[: time.size]
    total = np.bincount(cell, series.value, minlength=time.size)[: time.size]
    held = count > 0
    if held.all():
        return total / count
    when = np.bincount(cell, series.time_s, minlength=time.size)[: time.size]
    filled: Floats = np.interp(time, when[held] / count[held], total[held] / count[held])
    return filled


def runs(mask: Bools) -> list[tuple[int, int]]:
    """First and stop (exclusive) of every unbroken run of True."""
    framed = np.zeros(mask.size + 2, dtype=np.bool_)
    framed[1:-1] = mask
    edges = np.flatnonzero(framed[1:] != framed[:-1])
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _covered(sampled: Floats, time: Floats) -> Bools:
    """Cells with a sample before and after, not too far apart."""
    after = np.searchsorted(sampled, time)
    inner = np.clip(after, 1, sampled.size - 1)
    # A slow recording that lost a sample or two in a row has no hole there.
    widest = max(GAP_S, 3.5 * median(sampled[1:] - sampled[:-1]))
    near: Bools = sampled[inner] - sampled[inner - 1] <= widest
    near &= (time >= sampled[0] - STEP_S) & (time <= sampled[-1] + STEP_S)
    return near


def _standing(speed: Series, time: Floats) -> Bools:
    """Cells whose neighbouring samples both say that the engine does not turn."""
    still = speed.value < OFF_RPM
    after = np.clip(np.searchsorted(speed.time_s, time), 0, speed.time_s.size - 1)
    both: Bools = still[after] & still[np.maximum(after - 1, 0)]
    return both


def _starting(recording: Recording, off: Bools, rpm: Floats, time: Floats) -> Bools:
    """Cells in which the starter turns the engine, and those within ``FLARE_S`` of a start, seen in
    the recording or told by the run time. [rpm], [s]"""
    flare = np.zeros(time.size, dtype=bool)
    for first, stop in runs(off | (rpm < RUNS_RPM)):
        # Before a starter turns it an engine stands, or is not recorded yet; another one stumbles.
        if off[first:stop].any() or (first == 0 and stop < min(CRANKED_S / STEP_S, time.size)):
            flare[first : stop + int(FLARE_S / STEP_S) + 1] = True
    run_time = recording.get("time_since_engine_start")
    if run_time is not None:
        # Cars that count in wide steps or not at all are no reason to drop the beginning.
        seconds = resample(run_time, time)
        flare |= (seconds > 0) & (seconds < FLARE_S)
    return flare


def _signals(recording: Recording, rpm: Floats, time: Floats) -> tuple[Signal, ...]:
    """What tells one operating point from another, each in units of its own tolerance."""
    speed = recording.series["engine_speed"]
    signals = [Signal("engine_speed", np.log(np.maximum(rpm, OFF_RPM)), 0.012, _weight(speed))]
    for name, scale in _LOGARITHMIC.items():
        series = recording.get(name)
        if series is not None and series.time_s.size > 2 and series.value.max() > 0:
            floor = 0.02 * float(series.value.max())
            value = np.log(np.maximum(resample(series, time), floor))
            signals.append(Signal(name, value, scale, _weight(series)))
    if len(signals) == 1 and (load := recording.get("calculated_load")) is not None:
        signals.append(Signal("calculated_load", resample(load, time), 1.0, _weight(load)))
    throttle = recording.get("throttle_position")
    if throttle is not None and throttle.time_s.size > 2:
        value = resample(throttle, time)
        signals.append(Signal("throttle_position", value, 0.5, _weight(throttle)))
    purge = recording.get("commanded_evaporative_purge")
    if purge is not None and purge.time_s.size > 2:
        duty = resample(purge, time)
        # What matters is whether it purges, less so how much.
        name = "commanded_evaporative_purge"
        signals.append(Signal(name, duty / (duty + 4.0), 0.13, _weight(purge)))
    coolant = recording.get("engine_coolant_temperature")
    if coolant is not None:
        # Cold and warm are never one operating point, however alike.
        is_warm = (resample(coolant, time) >= WARM_C).astype(np.float64)
        signals.append(Signal("engine_coolant_temperature", is_warm, 0.2, 1.0))
    return tuple(signals)


def _weight(series: Series) -> float:
    seconds = float(series.time_s[-1] - series.time_s[0])
    return min(1.0, (series.time_s.size - 1) * STEP_S / seconds) if seconds > 0 else 1.0


_LOGARITHMIC = {"intake_manifold_pressure": 0.025, "mass_air_flow": 0.035}
